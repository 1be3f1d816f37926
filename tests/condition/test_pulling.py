"""Which pipes pull each other, from walks in which they sounded together and alone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.condition.organs import small_organ
from walkboard.condition.pulling import pulling_pairs
from walkboard.condition.state import PipeCents
from walkboard.listening.readings import Measured, Withheld
from walkboard.listening.types import ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.organ.targets import target_hz
from walkboard.planning.request import PlanRequest
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading
from walkboard.survey.recognise.verdict import Heard
from walkboard.work.plans import from_walks

ORGAN = small_organ()
ONE, OTHER, THIRD = (
    PipeRef(rank, 25) for rank in ("great.old", "great.principal", "great.trumpet")
)
HZ = target_hz(ORGAN, ONE, 18.0)


def alone(one: float, other: float, third: float = 30.0) -> list[PipeCents]:
    cents = {ONE: one, OTHER: other, THIRD: third}
    return [PipeCents(pipe, off, 0.1, -25.0, 18.0) for pipe, off in cents.items()]


def together(*pipes: PipeRef, beat_hz: float | None = None) -> HeardWalk:
    """A hold of these pipes, all withheld because they pull."""
    readings = tuple(
        Withheld(pipe=pipe, start_s=0.0, end_s=4.0, flags=(ReadingFlag.LOCKED,), beat_hz=beat_hz)
        for pipe in pipes
    )
    return walk_of(readings)


def walk_of(readings: tuple[Reading, ...]) -> HeardWalk:
    """A walk of one hold."""
    hold = Hold(1, ORGAN.rank("great.principal").key_of(25), 25, 0.0, 4.0, readings)
    sound = SoundInfo(4.0, 48_000, 1, "FLAC")
    return HeardWalk("w.flac", sound, ORGAN.name, ("great.old",), 18.0, (hold,), ())


def heard_alone(pipe: PipeRef, cents: float) -> HeardWalk:
    hz = target_hz(ORGAN, pipe, 18.0) * 2.0 ** (cents / 1200.0)
    return walk_of(
        (
            Measured(
                pipe=pipe,
                start_s=0.0,
                end_s=4.0,
                level_db=-25.0,
                hz=hz,
                sigma_cents=0.1,
                cents=cents,
            ),
        )
    )


def test_two_in_step_are_drawn_to_the_middle() -> None:
    (pair,) = pulling_pairs(ORGAN, [together(OTHER, ONE)], alone(3.0, -3.0))
    assert {pair.first, pair.second} == {ONE, OTHER}
    assert pair.kept == 0.0
    assert pair.drawn_cents[ONE] == pytest.approx(-3.0)
    assert pair.drawn_cents[OTHER] == pytest.approx(3.0)


def test_two_that_beat_slower_than_they_should_keep_that_share_of_their_distance() -> None:
    """6 cents apart at middle C are 0.91 Hz; they beat 0.3 times a second."""
    (pair,) = pulling_pairs(ORGAN, [together(ONE, OTHER, beat_hz=0.3)], alone(6.0, 0.0))
    apart_hz = HZ * (2.0 ** (6.0 / 1200.0) - 1.0)
    assert pair.kept == pytest.approx(0.3 / apart_hz, rel=1e-6)
    assert pair.drawn_cents[ONE] == pytest.approx(-3.0 * (1.0 - pair.kept))


@pytest.mark.parametrize(
    ("walk", "pipes"),
    [
        (together(ONE, OTHER), alone(3.0, -3.0)[:1]),  # the other was never heard alone
        (together(ONE), alone(3.0, -3.0)),
        (together(ONE, OTHER), alone(30.0, 0.0)),  # too far apart to lock
        (together(ONE, OTHER, beat_hz=2.0), alone(3.0, 0.0)),  # beats faster than alone
        (replace(together(ONE, OTHER), heard=Heard("x", believed=False)), alone(3.0, -3.0)),
    ],
)
def test_what_is_not_known_to_pull_is_left_alone(walk: HeardWalk, pipes: list[PipeCents]) -> None:
    assert pulling_pairs(ORGAN, [walk], pipes) == ()


def test_of_three_the_nearest_two_are_a_pair() -> None:
    pairs = pulling_pairs(ORGAN, [together(ONE, OTHER, THIRD)], alone(5.0, 0.0, 6.0))
    assert [{p.first, p.second} for p in pairs] == [{ONE, THIRD}]


def test_the_readings_of_a_pair_are_of_the_walks_air() -> None:
    """Flues move alike with the air, so a pair heard alone at other air is as far apart."""
    warm = [replace(pipe, air_celsius=23.0) for pipe in alone(3.0, -3.0)]
    (pair,) = pulling_pairs(ORGAN, [together(ONE, OTHER)], warm)
    assert pair.kept == 0.0
    assert abs(pair.apart_cents) == pytest.approx(6.0)


def test_a_plan_from_walks_knows_which_pipes_pull() -> None:
    viola = PipeRef("swell.viola", 25)
    walks = [heard_alone(viola, 9.0), heard_alone(OTHER, 0.0), together(viola, OTHER)]
    plan = from_walks(ORGAN, walks, PlanRequest(60.0)).plan
    assert {item.pipe for item in plan.items} == {viola, OTHER}
    assert any("pair of pipes pulls each other" in note for note in plan.notes)
    loose = from_walks(ORGAN, walks[:2], PlanRequest(60.0)).plan
    assert {item.pipe for item in loose.items} == {viola}
