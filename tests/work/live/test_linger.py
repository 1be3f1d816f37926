"""A pipe that was called done and sounds on is listened to: "done" is taken back if it moves."""

import numpy as np
import pytest

from tests.listening.live_sounds import RATE, moved
from tests.work.practising import hall, worklist
from walkboard.organ.model import PipeRef
from walkboard.work.live.flow import TuningFlow
from walkboard.work.live.values import Outcome, Shown, Step

ORGAN, STATE = hall()
# Reeds: a tool at the spring does not warm them, so they are believed at once.
PIPES = [PipeRef("swell.clarion4", n) for n in (13, 15)]


def played(after_cents: float) -> tuple[TuningFlow, list[Shown]]:
    """The first pipe is in tune for 3.2 s, then so far off, its key held all the time."""
    at = TuningFlow(ORGAN, worklist(ORGAN, STATE, PIPES), RATE, STATE.air_celsius, update_s=0.1)
    sound = moved(
        STATE.pipes[PIPES[0]].target_hz,
        lambda t: np.where(t < 3.2, 0.0, after_cents),
        "flue",
        np.random.default_rng(3),
        seconds=4.4,
        reverberation_s=0.8,
    ).samples
    shown: list[Shown] = []
    for first in range(0, len(sound), 2400):
        shown += at.take(sound[first : first + 2400], first / RATE)
    return at, shown


def test_done_is_taken_back_when_the_pipe_moves_away() -> None:
    # as when the hand that shaded it onto its target leaves
    at, shown = played(5.0)
    assert any(one.finished is not None for one in shown)
    (back,) = [one for one in shown if one.withdrawn is not None]
    assert back.withdrawn is not None
    assert back.withdrawn.task.pipe == PIPES[0]
    assert back.step is Step.MOVE
    assert back.words == "C3 has moved: not done"
    assert back.reading is not None
    assert back.reading.cents == pytest.approx(5.0, abs=0.5)
    assert at.task is not None
    assert at.task.pipe == PIPES[0]
    assert at.results == ()


def test_done_stands_while_the_pipe_does() -> None:
    at, shown = played(0.1)
    assert all(one.withdrawn is None for one in shown)
    assert [result.outcome for result in at.results] == [Outcome.DONE]
    assert at.task is not None
    assert at.task.pipe == PIPES[1]
