"""What each browser chose: look, language and names of keys, each in its own cookie. Otherwise the
book's choice applies (`BookChoice`), then the browser's request (Accept-Language, RFC 9110).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import HTTPConnection, Request, cookie_parser
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from walkboard.languages.spoken import ENGLISH, LANGUAGES, speak
from walkboard.scales.key_names import USUAL_NAMES, Names, name_of
from walkboard.scales.keys import Key
from walkboard.work.book_choice import BookChoice

_SECONDS = 365 * 86_400


class Look(StrEnum):
    """Dark, light, or as the device has it."""

    AUTO = "auto"
    LIGHT = "light"
    DARK = "dark"


@dataclass(frozen=True, slots=True)
class Preferences:
    """What a browser chose."""

    look: Look = Look.AUTO
    names: Names = Names.SCIENTIFIC
    language: str = ENGLISH

    def key(self, key: Key) -> str:
        """Name of a key: ``F♯3``, or ``f♯`` by Helmholtz."""
        return name_of(key, self.names)


def preferences_of(request: HTTPConnection, usual: BookChoice | None = None) -> Preferences:
    """The browser's choices; invalid ones are ignored.

    Parameters
    ----------
    request : HTTPConnection
    usual : BookChoice or None
        The book's choice; None for the one the application knows, if it has loaded.
    """
    if usual is None:
        app = request.scope.get("app")  # there is none yet while the desk opens
        usual = BookChoice() if app is None else app.state.book_choice
    look, names = request.cookies.get("look", ""), request.cookies.get("names", "")
    language = language_of(request.headers, usual)
    named = names if names in set(Names) else usual.names
    return Preferences(
        Look(look) if look in set(Look) else Look.AUTO,
        Names(named) if named in set(Names) else USUAL_NAMES.get(language, Names.SCIENTIFIC),
        language,
    )


def language_of(headers: Headers, usual: BookChoice) -> str:
    """The language that a browser is answered in.

    Parameters
    ----------
    headers : Headers
        Headers of its request.
    usual : BookChoice
        The book's choice.
    """
    chosen = cookie_parser(headers.get("cookie", "")).get("language", "")
    if chosen in LANGUAGES:
        return chosen
    if usual.language in LANGUAGES:
        return usual.language
    asked = (part.strip()[:2].lower() for part in headers.get("accept-language", "").split(","))
    return next((one for one in asked if one in LANGUAGES), ENGLISH)


class InItsLanguage:
    """Answers each request in the language of its browser.

    Parameters
    ----------
    app : ASGI application
    usual : callable
        Gives the book's own setting.
    """

    def __init__(self, app: ASGIApp, usual: Callable[[], BookChoice]) -> None:
        self._app = app
        self._usual = usual

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Set the language for all that this request calls, and pass it on."""
        if scope["type"] in {"http", "websocket"}:
            speak(language_of(Headers(scope=scope), self._usual()))
        await self._app(scope, receive, send)


def cookie_words(preferences: Preferences) -> str:
    """A browser's choice as its cookies say it."""
    return f"look={preferences.look}; names={preferences.names}; language={preferences.language}"


async def choose(request: Request) -> Response:
    """Keep a choice and go back to where it was made; at the desk also for every browser."""
    form = await request.form()
    response = RedirectResponse(_place(str(form.get("back", "/"))), 303)
    for name, choices in (
        ("look", set(Look)), ("names", set(Names)), ("language", set(LANGUAGES))
    ):  # fmt: skip
        value = str(form.get(name, ""))
        if value in choices:
            response.set_cookie(name, value, max_age=_SECONDS, samesite="lax", httponly=True)
    if "for_all" in form and visitor_is_at_desk(request):
        usual = BookChoice(str(form.get("language", "")), str(form.get("names", "")))
        await run_in_threadpool(usual.keep, request.app.state.desk.book.path)
        request.app.state.book_choice = usual
    return response


def visitor_is_at_desk(request: Request) -> bool:
    """Whether the browser runs on the desk's own machine, as the gate found."""
    return bool(request.state.visitor.is_at_desk)


def _place(back: str) -> str:
    """A path of our own, or the first page."""
    parts = urlsplit(back)
    is_ours = not parts.scheme and not parts.netloc and back.startswith("/")
    return back if is_ours and not back.startswith(("//", "/\\")) and back.isprintable() else "/"
