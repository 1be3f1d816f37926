"""What a browser's outbox sends: each an idempotent 'set' with an id, kept there until confirmed.

The browser keeps every setting in its own store until this answers that it is in the book, so a
phone that sleeps, loses its link or outlives a restart of the server loses nothing.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from walkboard.desk.server.catalogue import say
from walkboard.desk.server.desk import Desk, desk_of
from walkboard.desk.server.translate import told
from walkboard.errors import BookError, WalkboardError

LARGEST_BYTES = 1 << 20


class Setting(BaseModel):
    """One thing that a browser sets.

    Attributes
    ----------
    uid : str
        The same for every time that it is sent.
    kind : str
        Which page keeps it.
    at : datetime
        When it was made, by the clock of the device.
    body : dict
        As the page's script made it; check it.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")
    uid: str = Field(min_length=8, max_length=64, pattern=r"^[A-Za-z0-9_-]+$")
    kind: str = Field(max_length=40)
    at: datetime
    body: dict[str, Any]


class _Sent(BaseModel):
    model_config = ConfigDict(extra="forbid")
    settings: list[Setting] = Field(max_length=500)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a setting: ``kept``, ``refused`` for good, or to be sent again ``later``."""

    state: Literal["kept", "refused", "later"]
    why: str = ""


def keep(desk: Desk, setting: Setting, device: str) -> Outcome:
    """Keep one setting in the book; `device` is the name of who set it, empty at the desk."""
    keeper = desk.keepers.get(setting.kind)
    if keeper is None:
        return Outcome("refused", say("frame.outbox_unknown"))
    if setting.at.tzinfo is None:
        setting = setting.model_copy(update={"at": setting.at.replace(tzinfo=UTC)})
    try:
        with desk.keeping:
            keeper(desk, setting, device)
    except ValidationError:
        return Outcome("refused", say("frame.outbox_unreadable"))
    except BookError as error:
        # What the database or the disk refuses now it may take in a minute.
        cause = error.__cause__
        is_passing = isinstance(getattr(cause, "orig", cause), (sqlite3.Error, OSError))
        return Outcome("later" if is_passing else "refused", told(str(error)))
    except (WalkboardError, ValueError) as error:
        return Outcome("refused", told(str(error)))
    return Outcome("kept")


async def take(request: Request) -> Response:
    """The door of the outbox: JSON in, what became of each setting out."""
    try:
        sent = _Sent.model_validate_json(await request.body())
    except ValidationError:
        return JSONResponse({"trouble": say("frame.outbox_unreadable")}, 400)
    desk = desk_of(request)
    device = desk.device_name(request)
    outcomes = {}
    for setting in sent.settings:
        outcome = await run_in_threadpool(keep, desk, setting, device)
        outcomes[setting.uid] = {"state": outcome.state, "why": outcome.why}
    return JSONResponse({"outcomes": outcomes})
