"""What each browser chose: the look, and how keys are named. Kept in two cookies of its own."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.scales.keys import Key

_SECONDS = 365 * 86_400


class Look(StrEnum):
    """Dark, light, or as the device has it."""

    AUTO = "auto"
    LIGHT = "light"
    DARK = "dark"


class Names(StrEnum):
    """How keys are named."""

    SCIENTIFIC = "scientific"
    HELMHOLTZ = "helmholtz"
    GERMAN = "german"
    ENGLISH = "english"


@dataclass(frozen=True, slots=True)
class Preferences:
    """What a browser chose."""

    look: Look = Look.AUTO
    names: Names = Names.SCIENTIFIC

    def key(self, key: Key) -> str:
        """Name of a key: ``F♯3``, or ``f♯`` by Helmholtz."""
        if self.names is Names.HELMHOLTZ:
            return key.helmholtz
        if self.names is Names.GERMAN:
            return key.german
        if self.names is Names.ENGLISH:
            return key.english
        return key.name.replace("#", "♯")


def preferences_of(request: Request) -> Preferences:
    """What the browser chose; what is no choice counts as none."""
    look, names = request.cookies.get("look", ""), request.cookies.get("names", "")
    return Preferences(
        Look(look) if look in set(Look) else Look.AUTO,
        Names(names) if names in set(Names) else Names.SCIENTIFIC,
    )


def told(preferences: Preferences) -> str:
    """A browser's choice as its cookies say it."""
    return f"look={preferences.look}; names={preferences.names}"


async def choose(request: Request) -> Response:
    """Keep a choice and go back to where it was made."""
    form = await request.form()
    response = RedirectResponse(_place(str(form.get("back", "/"))), 303)
    for name, choices in (("look", set(Look)), ("names", set(Names))):
        value = str(form.get(name, ""))
        if value in choices:
            response.set_cookie(name, value, max_age=_SECONDS, samesite="lax", httponly=True)
    return response


def _place(back: str) -> str:
    """A path of our own, or the first page."""
    parts = urlsplit(back)
    is_ours = not parts.scheme and not parts.netloc and back.startswith("/")
    return back if is_ours and not back.startswith(("//", "/\\")) and back.isprintable() else "/"
