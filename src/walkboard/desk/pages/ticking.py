"""Ticks of the worklist, from whichever page and device; no page of its own."""

from __future__ import annotations

from types import MappingProxyType

from pydantic import Field

from walkboard.book.records import Tick, TickState
from walkboard.desk.frame.desk import Desk
from walkboard.desk.frame.page import Keeper, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.setting import OfVisit, Setting
from walkboard.errors import UnknownNameError
from walkboard.organ.model import PipeRef
from walkboard.work.snapshot import organ_at
from walkboard.work.ticking import keep_tick as keep


class _Body(OfVisit):
    pipe: str = Field(max_length=200)
    state: TickState
    note: str = Field("", max_length=2000)
    over: str = Field("", max_length=80)  # the tick that this one takes back


def keep_tick(desk: Desk, setting: Setting, device: str) -> None:
    """Keep a tick under the id that the browser gave it."""
    body = _Body.model_validate(setting.body)
    pipe = PipeRef.parse(body.pipe)
    organ = organ_at(desk.book, body.found(desk.book))
    if pipe.number > organ.rank(pipe.rank).pipes:
        raise UnknownNameError(f"There is no pipe {pipe}.", fix="Load the page again.")
    tick = Tick(setting.uid, body.visit, pipe, body.state.value, body.note, setting.at, device)
    keep(desk.book, tick, body.over)


PAGE = Page("ticking", (), settings=MappingProxyType({"tick": Keeper(keep_tick, Permission.TICK)}))
