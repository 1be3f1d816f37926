"""Settings from a browser's outbox: idempotent, with an id, kept there until confirmed.

The browser keeps every setting until this confirms that it is in the book, so a phone that sleeps,
goes offline or outlives a server restart loses nothing.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from walkboard.book.files.trouble import is_of_database
from walkboard.desk.frame.access import Visitor, visitor_of
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Keeper
from walkboard.desk.frame.setting import Setting
from walkboard.desk.text.catalogue import say
from walkboard.errors import BookError, WalkboardError
from walkboard.languages.translation import translate

LARGEST_BYTES = 1 << 20


class _Sent(BaseModel):
    model_config = ConfigDict(extra="forbid")
    settings: list[Setting] = Field(max_length=500)


@dataclass(frozen=True, slots=True)
class Outcome:
    """The outcome of a setting: ``kept``, ``refused`` permanently, or to be sent again
    ``later``.
    """

    state: Literal["kept", "refused", "later"]
    why: str = ""


class Outbox:
    """Stores settings from browsers, one after another.

    Parameters
    ----------
    keepers : mapping of kind to Keeper
    """

    def __init__(self, keepers: Mapping[str, Keeper]) -> None:
        self._keepers = keepers
        # What a device may still set depends on what others have set.
        self._lock = threading.Lock()

    def is_permitted(self, desk: Desk, setting: Setting, visitor: Visitor) -> bool:
        """Whether a visitor may set it, on the organ that it names by a visit or a fault."""
        keeper = self._keepers.get(setting.kind)
        if keeper is None or visitor.may_on_every_organ(keeper.permission):
            return True  # an unknown kind is refused with better words
        organs = _organs_named(desk, setting.body)
        return bool(organs) and all(visitor.may(keeper.permission, one) for one in organs)

    def keep(self, desk: Desk, setting: Setting, device: str) -> Outcome:
        """Keep one setting in the book; `device` is the name of who set it, empty at the desk."""
        keeper = self._keepers.get(setting.kind)
        if keeper is None:
            return Outcome("refused", say("frame.outbox_unknown"))
        if setting.at.tzinfo is None:
            setting = setting.model_copy(update={"at": setting.at.replace(tzinfo=UTC)})
        try:
            with self._lock:
                keeper.keep(desk, setting, device)
        except ValidationError:
            return Outcome("refused", say("frame.outbox_unreadable"))
        except BookError as error:
            # What the database or the disk refuses now may work in a minute.
            cause = error.__cause__
            is_passing = isinstance(cause, OSError) or is_of_database(cause)
            return Outcome("later" if is_passing else "refused", translate(str(error)))
        except (WalkboardError, ValueError) as error:
            return Outcome("refused", translate(str(error)))
        return Outcome("kept")


def _organs_named(desk: Desk, body: Mapping[str, object]) -> set[int]:
    """The organs whose visit or fault a setting names; empty where one of them is unknown."""
    found = set()
    try:
        for name, find in (("visit", desk.book.visit), ("fault", desk.book.fault)):
            named = body.get(name)
            if isinstance(named, int):
                found.add(find(named).organ_id)
    except BookError:
        return set()
    return found


async def take(request: Request) -> Response:
    """The door of the outbox: JSON in, what became of each setting out."""
    try:
        sent = _Sent.model_validate_json(await request.body())
    except ValidationError:
        return JSONResponse({"trouble": say("frame.outbox_unreadable")}, 400)
    desk = desk_of(request)
    outbox: Outbox = request.app.state.outbox
    visitor, device = visitor_of(request), desk.device_name(request)

    def keep(setting: Setting) -> Outcome:
        if not outbox.is_permitted(desk, setting, visitor):
            return Outcome("refused", say("frame.not_permitted_what"))
        return outbox.keep(desk, setting, device)

    outcomes = {}
    for setting in sent.settings:
        outcome = await run_in_threadpool(keep, setting)
        outcomes[setting.uid] = {"state": outcome.state, "why": outcome.why}
    return JSONResponse({"outcomes": outcomes})
