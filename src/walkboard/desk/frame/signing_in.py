"""How people sign in at a desk behind the firm's proxy, and who has."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from walkboard.book.people.records import Session
from walkboard.desk.frame.access import SESSION_COOKIE, Visitor, signed_in
from walkboard.desk.frame.origin import Origin
from walkboard.desk.frame.patience import Patience
from walkboard.work.open_book import now
from walkboard.work.people import sessions
from walkboard.work.people.passkeys import Party, Passkeys
from walkboard.work.people.tokens import hash_of

if TYPE_CHECKING:
    from walkboard.book.cache.seen import SeenBook
    from walkboard.work.people.openid import Provider, SignOn

_MOST = 1000  # sessions remembered. Chosen.


@dataclass(frozen=True, slots=True)
class SigningIn:
    """How people sign in.

    Attributes
    ----------
    origin : Origin
    passkeys : Passkeys
    patience : Patience
        With those who fail to.
    sign_on : SignOn or None
        By the firm's identity provider.
    """

    origin: Origin
    passkeys: Passkeys
    patience: Patience = field(default_factory=Patience)
    sign_on: SignOn | None = None

    @classmethod
    def at(cls, origin: Origin, provider: Provider | None = None) -> SigningIn:
        """For a desk that people reach at an origin."""
        party = Party(origin.host, str(origin), "Walkboard")
        sign_on = None
        if provider is not None:
            from walkboard.work.people.openid import SignOn  # noqa: PLC0415 - few firms have one

            sign_on = SignOn(provider, f"{origin}/sign-in/openid/back")
        return cls(origin, Passkeys(party), sign_on=sign_on)

    @property
    def provider_name(self) -> str:
        """Name of the firm's identity provider; empty where it has none."""
        return "" if self.sign_on is None else self.sign_on.provider.name


class SignedIn:
    """Finds who a cookie belongs to; what the book said is asked again once the book has changed.

    Parameters
    ----------
    book : SeenBook
    """

    def __init__(self, book: SeenBook) -> None:
        self._book = book
        self._lock = threading.Lock()
        self._known: OrderedDict[str, tuple[int, Visitor, Session]] = OrderedDict()

    def visitor(self, token: str) -> Visitor | None:
        """Who is signed in with a session's token; None if nobody is, or no longer."""
        change, key = self._book.change(), hash_of(token)
        with self._lock:
            known = self._known.get(key)
        if known is None or known[0] != change:
            session = sessions.found(self._book, token, now())
            if session is None:
                return None  # strangers' tokens are not remembered
            person = self._book.person(session.person_id)
            known = change, signed_in(person, device_of(session, key)), session
            with self._lock:
                self._known[key] = known
                while len(self._known) > _MOST:
                    self._known.popitem(last=False)
        _, visitor, session = known
        return visitor if visitor.is_known and session.ends_at > now() else None

    def is_open(self, device: str) -> bool:
        """Whether a session, by the id that `Visitor.device` has, is not over."""
        with self._lock:
            keys = [key for key, (_, one, _) in self._known.items() if one.device == device]
        return any(
            (session := self._book.session(key)) is not None
            and session.ends_at > now()
            and self._book.person(session.person_id).memberships
            for key in keys
        )


def device_of(session: Session, key: str) -> str:
    """What a session's open channels are known by; no number, for those come again."""
    return f"session.{session.person_id}.{key[:16]}"


def begin(request: Request, response: Response, person_id: int) -> None:
    """Sign a person in with this answer to a browser."""
    desk = request.app.state.desk
    browser = request.headers.get("user-agent", "")
    token = sessions.begin(desk.book, person_id, browser, now())
    response.set_cookie(
        SESSION_COOKIE,
        token,
        max_age=round(sessions.LASTS.total_seconds()),
        httponly=True,
        samesite="lax",
        secure=desk.signing_in.origin.is_encrypted,
    )


def address_of(request: Request) -> str:
    """The address that a request came from, as the proxy says."""
    return "" if request.client is None else request.client.host
