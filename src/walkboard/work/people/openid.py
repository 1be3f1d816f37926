"""Signing in by the firm's identity provider (OpenID Connect Core 1.0, authorization code flow).

With PKCE (RFC 7636), a nonce and a state. What the flow has to remember is sealed into the
browser's own cookie, so that strangers who begin and never end take no room.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import secrets
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from walkboard.errors import InputError
from walkboard.parsing import toml_table

LASTS_S = 600.0  # chosen: typing a password, and finding the second factor
_PATIENCE_S = 10.0  # for the provider to answer; chosen
# Signed with the provider's private key; neither "none" nor one that is signed with our secret.
_SIGNED_BY = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "EdDSA")
_SKEW_S = 60  # between the provider's clock and ours; chosen


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")
    name: str = Field(min_length=1, max_length=60)
    issuer: str
    client_id: str
    client_secret: str


@dataclass(frozen=True, slots=True)
class Provider:
    """The firm's identity provider.

    Attributes
    ----------
    name : str
        Shown at the sign-in.
    issuer : str
        Its address, as its own tokens have it.
    client_id, client_secret : str
        What it knows this desk by.
    """

    name: str
    issuer: str
    client_id: str
    client_secret: str


@dataclass(frozen=True, slots=True)
class Begun:
    """A sign-in that has begun.

    Attributes
    ----------
    address : str
        Where the browser goes.
    sealed : str
        For its cookie, until it comes back.
    """

    address: str
    sealed: str


@dataclass(frozen=True, slots=True)
class Account:
    """Who came back.

    Attributes
    ----------
    issuer, subject : str
        Together they name an account for ever (OpenID Connect Core, 5.7).
    invitation : str
        What was given to `SignOn.begin`.
    """

    issuer: str
    subject: str
    invitation: str


def read_provider(file: Path) -> Provider:
    """Read the file that names an identity provider.

    Raises
    ------
    InputError
        When it cannot be read, lacks something, or names an address without encryption.
    """
    _libraries()
    try:
        found = _File.model_validate(toml_table(file.read_text(encoding="utf-8")))
    except (OSError, ValueError, ValidationError) as error:
        raise InputError(
            f"This names no identity provider ({error}).",
            where=str(file),
            fix="It needs name, issuer, client_id and client_secret (docs/people.md).",
        ) from error
    _refuse_plain(found.issuer)
    return Provider(found.name, found.issuer, found.client_id, found.client_secret)


class SignOn:
    """Signs people in by a provider.

    Parameters
    ----------
    provider : Provider
    back : str
        Where the provider sends browsers back to.
    clock_s : callable
        Monotonic [s].
    """

    def __init__(
        self, provider: Provider, back: str, clock_s: Callable[[], float] = time.monotonic
    ) -> None:
        self.provider = provider
        self._back = back
        self._clock_s = clock_s
        self._key = secrets.token_bytes(32)

    def begin(self, invitation: str = "") -> Begun:
        """Begin a sign-in; `invitation` comes back with it.

        Raises
        ------
        InputError
            When the provider cannot be reached, or the library is not installed.
        """
        verifier, nonce = secrets.token_urlsafe(48), secrets.token_urlsafe(24)
        with self._session() as session:
            address, state = session.create_authorization_url(
                self._described("authorization_endpoint"), code_verifier=verifier, nonce=nonce
            )
        content = [state, nonce, verifier, invitation, self._clock_s() + LASTS_S]
        return Begun(address, self._seal(content))

    def finish(self, sealed: str, query: Mapping[str, str]) -> Account:
        """Who came back from the provider.

        Parameters
        ----------
        sealed : str
            The browser's cookie.
        query : mapping
            The values in the address that it came back to.

        Raises
        ------
        InputError
            When this sign-in was not begun here, took too long, was refused, or the provider's
            answer is not what it should be.
        """
        state, nonce, verifier, invitation, ends_s = self._unseal(sealed)
        if not hmac.compare_digest(state.encode(), query.get("state", "").encode()):
            raise _not_begun()
        if ends_s <= self._clock_s():
            raise InputError("This took too long.", fix="Try it again.")
        if "code" not in query:
            raise InputError(f"{self.provider.name} did not let you in.", fix="Try it again.")
        with self._session() as session:
            try:
                token = session.fetch_token(
                    self._described("token_endpoint"),
                    code=query["code"],
                    code_verifier=verifier,
                    timeout=_PATIENCE_S,
                )
            except Exception as error:  # the libraries raise of many kinds, none of ours
                raise _odd(self.provider, error) from error
        subject = self._subject(token.get("id_token"), nonce)
        return Account(self.provider.issuer, subject, invitation)

    def _subject(self, id_token: object, nonce: str) -> str:
        """The account in a signed token, checked as OpenID Connect Core, 3.1.3.7, has it."""
        from joserfc import jwt
        from joserfc.errors import JoseError
        from joserfc.jwk import KeySet

        try:
            keys = KeySet.import_key_set(_json_at(self._described("jwks_uri")))
            token = jwt.decode(str(id_token), keys, algorithms=list(_SIGNED_BY))
            rules = jwt.JWTClaimsRegistry(
                leeway=_SKEW_S,
                iss={"essential": True, "value": self.provider.issuer},
                aud={"essential": True, "value": self.provider.client_id},
                exp={"essential": True},
                iat={"essential": True},
                sub={"essential": True},
                nonce={"essential": True, "value": nonce},
            )
            rules.validate(token.claims)
        except (JoseError, ValueError, TypeError, KeyError) as error:
            raise _odd(self.provider, error) from error
        claims = token.claims
        audience = claims["aud"]
        is_for_others = isinstance(audience, list) and len(audience) > 1
        if (is_for_others or "azp" in claims) and claims.get("azp") != self.provider.client_id:
            raise _odd(self.provider, "the token is for somebody else")
        return str(claims["sub"])

    def _described(self, what: str) -> str:
        """An address that the provider says of itself (OpenID Connect Discovery 1.0)."""
        issuer = self.provider.issuer
        try:
            described = _json_at(f"{issuer.rstrip('/')}/.well-known/openid-configuration")
            address = described[what]
        except (ValueError, KeyError, TypeError) as error:
            raise _odd(self.provider, error) from error
        if described.get("issuer") != issuer or not isinstance(address, str):
            raise _odd(self.provider, "it calls itself by another name")
        _refuse_plain(address)
        return address

    def _session(self) -> Any:
        return _libraries().OAuth2Session(
            self.provider.client_id,
            self.provider.client_secret,
            scope="openid",
            redirect_uri=self._back,
            code_challenge_method="S256",
        )

    def _seal(self, content: list[object]) -> str:
        body = base64.urlsafe_b64encode(json.dumps(content).encode())
        return f"{body.decode()}.{self._mac(body)}"

    def _unseal(self, sealed: str) -> tuple[str, str, str, str, float]:
        body, _, mac = sealed.partition(".")
        if not hmac.compare_digest(self._mac(body.encode()).encode(), mac.encode()):
            raise _not_begun()
        state, nonce, verifier, invitation, ends_s = json.loads(base64.urlsafe_b64decode(body))
        return state, nonce, verifier, invitation, ends_s

    def _mac(self, body: bytes) -> str:
        return hmac.new(self._key, body, hashlib.sha256).hexdigest()


def _json_at(address: str) -> Any:
    import requests

    try:
        answer = requests.get(address, timeout=_PATIENCE_S, allow_redirects=False)
        answer.raise_for_status()
        return answer.json()
    except requests.RequestException as error:
        raise ValueError(f"{address} cannot be reached") from error


def _refuse_plain(address: str) -> None:
    parts = urlsplit(address)
    is_here = parts.hostname in {"localhost", "127.0.0.1"}
    if parts.scheme != "https" and not (parts.scheme == "http" and is_here):
        raise InputError(f"{address!r} is not encrypted.", fix="Give an https:// address.")


def _libraries() -> ModuleType:
    try:
        import requests  # noqa: F401
        from authlib.integrations import requests_client
    except ImportError as error:
        raise InputError(
            "The libraries for an identity provider are not installed.",
            fix="Install them with: pip install 'walkboard[openid]'",
        ) from error
    module: ModuleType = requests_client
    return module


def _not_begun() -> InputError:
    return InputError("This sign-in was not begun in this browser.", fix="Begin it again.")


def _odd(provider: Provider, why: object) -> InputError:
    return InputError(
        f"{provider.name} gave no answer that can be trusted ({why}).",
        fix="Sign in by passkey, and tell whoever looks after it.",
    )
