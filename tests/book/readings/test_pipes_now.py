"""The newest value of each pipe: the kept table against the readings, whatever happens."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterable
from pathlib import Path

from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.book.making import (
    PRINCIPAL,
    VERSION,
    Clock,
    a_hold,
    a_reading,
    a_sound,
    a_walk,
)
from walkboard.book import open_book
from walkboard.book.keeping import Book
from walkboard.book.readings.pipes_now import PipeNow
from walkboard.book.records import Tick, TickState
from walkboard.listening.readings import Measured
from walkboard.organ.model import PipeRef
from walkboard.survey.hear.heard_walk import HeardWalk

NUMBERS = st.integers(1, 4)
CENTS = st.one_of(st.none(), st.floats(-20.0, 20.0))
SIGMAS = st.sampled_from((0.05, 0.06, 0.2))
WALKS = st.lists(st.tuples(NUMBERS, CENTS, SIGMAS), min_size=1, max_size=4)
STATES = st.sampled_from(list(TickState))
ACTIONS = st.lists(
    st.one_of(
        st.tuples(st.just("record"), WALKS),
        st.tuples(st.just("relabel"), WALKS),
        st.tuples(st.just("hear again"), WALKS),
        st.tuples(st.just("withdraw"), st.none()),
        st.tuples(st.just("tick"), st.tuples(NUMBERS, STATES)),
        st.tuples(st.just("next visit"), st.none()),
        st.tuples(st.just("ask"), st.none()),
    ),
    max_size=12,
)


def walk_of(given: Iterable[tuple[int, float | None, float]]) -> HeardWalk:
    return a_walk(*(a_hold(n, a_reading(n, cents=cents, sigma=sigma)) for n, cents, sigma in given))


def plainly(book: Book, organ_id: int) -> dict[PipeRef, PipeNow]:
    """The same from the readings and ticks of every visit, the newest first."""
    found: dict[PipeRef, PipeNow] = {}
    tuned_later: set[PipeRef] = set()
    for visit in reversed(book.visits(organ_id)):
        done = {p: t for p, t in book.pipe_states(visit.id).items() if t.state == TickState.DONE}
        for pipe, kept in book.best_readings(visit.id).items():
            if pipe in found or not isinstance(kept.reading, Measured):
                continue
            assert kept.sounded_at is not None
            here = pipe in done and kept.sounded_at <= done[pipe].at
            found[pipe] = PipeNow(
                organ_id, pipe, kept.reading.cents, kept.reading.sigma_cents, visit.id, kept.id,
                kept.sounded_at, here or pipe in tuned_later,
            )  # fmt: skip
        tuned_later |= done.keys()
    return found


def act(book: Book, place: Path, action: tuple[str, object], number: int) -> None:
    organ_id, (what, of) = 1 + number % 2, action
    visit = book.visits(organ_id)[-1]
    recordings = [r for v in book.visits(organ_id) for r in book.recordings(v.id)]
    match what, of:
        case "record", list():
            sound = a_sound(place, content=f"fLaC {number}".encode())
            book.keep_recording(visit.id, sound, walk_of(of), program_version=VERSION)
        case "relabel", list() if recordings:
            book.relabel_recording(recordings[0].id, walk_of(of), program_version=VERSION)
        case "hear again", list() if recordings:
            book.take_in_again(recordings[-1].id, walk_of(of), program_version=f"{number}")
        case "withdraw", None if recordings:
            book.withdraw_recording(recordings[-1].id)
        case "tick", (int() as pipe, str() as state):
            at = book._now()
            book.set_tick(
                Tick(f"t{number}", visit.id, PipeRef(PRINCIPAL, pipe), state, "", at, "phone")
            )
        case "next visit", None:
            book.close_visit(visit.id)
            book.open_visit(organ_id, f"visit {number}")
        case "ask", None:
            book.pipes_off(0.0)


ASK: tuple[str, object] = ("ask", None)  # between, so that all else is of the first organ
HEARD: tuple[str, object] = ("record", [(1, 9.0, 0.06), (2, -7.0, 0.06)])
AGAIN: tuple[str, object] = ("record", [(1, 1.0, 0.06)])
DONE: tuple[str, object] = ("tick", (1, TickState.DONE))


@settings(max_examples=6, deadline=None)
@given(actions=ACTIONS)
@example(actions=[HEARD, ASK, ("next visit", None), ASK, DONE])
@example(actions=[HEARD, ASK, DONE, ASK, AGAIN, ASK, ("withdraw", None)])
@example(actions=[HEARD, ASK, ("next visit", None), ASK, AGAIN, ASK, ("relabel", [(3, 8.0, 0.2)])])
def test_the_kept_values_are_those_of_the_readings(
    new_folder_of_two: Path, actions: list[tuple[str, object]]
) -> None:
    place = Path(tempfile.mkdtemp(prefix="pipes-"))
    shutil.copytree(new_folder_of_two, place / "book")
    with open_book(place / "book", clock=Clock()) as book:
        for number, action in enumerate(actions):
            act(book, place, action, number)
        expected = [plainly(book, organ_id) for organ_id in (1, 2)]
        assert [book.pipes_now(organ_id) for organ_id in (1, 2)] == expected
        assert [book.pipes_now(organ_id) for organ_id in (1, 2)] == expected, "as kept"
        off = book.pipes_off(5.0)
        every = [one for of_organ in expected for one in of_organ.values()]
        assert set(off) == {one for one in every if abs(one.cents) > 5.0 and not one.is_tuned_since}
        assert [abs(one.cents) for one in off] == sorted((abs(o.cents) for o in off), reverse=True)
    shutil.rmtree(place)
