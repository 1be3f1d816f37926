"""Where a desk behind the firm's own proxy is found (RFC 6454: scheme, host and port)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import urlsplit

from walkboard.errors import InputError

_HOST = re.compile(r"(?=.{1,253}$)[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*")
_USUAL = {"https": 443, "http": 80}
LOCALHOST = "localhost"


@dataclass(frozen=True, slots=True)
class Origin:
    """A desk's public address, as ``https://organs.example.org``.

    Attributes
    ----------
    scheme : str
        ``https``, or ``http`` at localhost only.
    host : str
        A name, not an address in digits: passkeys belong to a name (W3C Web Authentication, RP ID).
    port : int or None
        None: the usual one.
    """

    scheme: str
    host: str
    port: int | None = None

    @classmethod
    def parse(cls, text: str) -> Origin:
        """Read it as the user writes it.

        Raises
        ------
        InputError
            When it is not ``https://NAME`` or ``http://localhost``.
        """
        try:
            parts = urlsplit(text.strip())
            port = parts.port
        except ValueError:
            raise _not_one(text) from None
        host = (parts.hostname or "").lower()
        has_more = parts.path not in {"", "/"} or parts.query or parts.fragment or parts.username
        is_secure = parts.scheme == "https" or (parts.scheme == "http" and host == LOCALHOST)
        is_name = _HOST.fullmatch(host) is not None and not host.rpartition(".")[2].isdecimal()
        if has_more or not is_secure or not is_name:
            raise _not_one(text)
        return cls(parts.scheme, host, None if port == _USUAL[parts.scheme] else port)

    @property
    def is_encrypted(self) -> bool:
        """Whether browsers reach it by https."""
        return self.scheme == "https"

    def __str__(self) -> str:
        port = "" if self.port is None else f":{self.port}"
        return f"{self.scheme}://{self.host}{port}"


def _not_one(text: str) -> InputError:
    return InputError(
        f"{text!r} is not where people reach this desk.",
        fix="Give https:// and the name that the proxy answers to, such as"
        " https://organs.example.org; to try it out, http://localhost:8740.",
    )
