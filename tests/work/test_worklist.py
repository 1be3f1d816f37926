"""The worklist in use."""

from __future__ import annotations

import uuid
from pathlib import Path

import pytest

from tests.survey.organs import SMALL
from tests.work.chapel import chapel_book
from walkboard.book.records import Tick, TickState
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.planning.plan import Plan, PlanItem, Reference
from walkboard.planning.request import PlanRequest
from walkboard.scales.keys import Key
from walkboard.work.open_book import now
from walkboard.work.plans import kept
from walkboard.work.snapshot import opened_to_see
from walkboard.work.worklist import groups_of, progress_of, work_groups

ORGAN = read_organ(SMALL)


def item(order: int, pipe: str, cents: float, hz: float) -> PlanItem:
    move = "flatter" if cents > 0 else "sharper"
    return PlanItem(order, PipeRef.parse(pipe), cents, hz, move, 1.0, "")


def plan(*items: PlanItem) -> Plan:
    return Plan(60.0, (Reference("great", 0.0, 18.0),), items, 2.0, 1.0, 1.0, 3.0, ())


def test_each_pipe_has_its_key_its_stop_and_its_hand() -> None:
    """Principal 8′ by slide: A4, pipe 34, is 440 Hz; the slide goes up to flatten it (practice)."""
    groups = groups_of(
        ORGAN,
        plan(
            item(1, "great.principal8:34", 5.0, 440.0),
            item(2, "great.trumpet8:1", -3.0, 65.4),
            item(3, "great.principal8:35", -2.0, 466.2),
        ),
    )
    assert [group.heading for group in groups] == [
        "Great · Principal 8′",
        "Great · Trumpet 8′",
        "Great · Principal 8′",  # in the order of work, not joined
    ]
    (first,) = groups[0].steps
    assert first.held is not None
    assert (first.held.key, first.held.stop.id) == (Key.parse("A4"), "great.principal8")
    assert first.stands == "5.0 sharp"
    assert first.hand.startswith("slide up")
    assert groups[1].steps[0].hand == "spring down"
    assert groups[0].draw == "Draw Principal 8′ on the Great."


def test_a_rank_takes_as_long_as_its_pipes() -> None:
    numbers = (34, 35, 36)
    (group,) = groups_of(
        ORGAN, plan(*(item(n, f"great.principal8:{n}", 5.0, 440.0) for n in numbers))
    )
    assert group.minutes == 3.0
    assert group.open == 3


def test_ticks_count_in_the_progress(tmp_path: Path) -> None:
    chapel_book(tmp_path / "book")
    with opened_to_see(tmp_path / "book") as book:
        visit = book.visits(1)[0]
        assert work_groups(book, visit) is None
        pipes = [i.pipe for i in kept(book, visit, PlanRequest(30.0)).plan.items]
        for pipe, state in zip(pipes, (TickState.DONE, TickState.SKIPPED), strict=False):
            book.set_tick(Tick(uuid.uuid4().hex, visit.id, pipe, state.value, "", now()))
        groups = work_groups(book, visit)
        assert groups is not None
        progress = progress_of(groups)
        assert (progress.pipes, progress.done, progress.skipped) == (len(pipes), 1, 1)
        assert progress.open == len(pipes) - 2
        left = [s.item.minutes for g in groups for s in g.steps if s.state is TickState.OPEN]
        assert progress.open_minutes == pytest.approx(sum(left))
        assert sum(group.open for group in groups) == progress.open
