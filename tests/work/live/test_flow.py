"""The flow at the pipe, driven by a script that only follows the screen."""

import numpy as np
import pytest

from tests.listening.live_sounds import RATE, moved, still
from tests.work.practising import hall, strays, tune, worklist
from walkboard.errors import UnknownNameError
from walkboard.organ.model import PipeRef, TunedBy
from walkboard.work.live.flow import TuningFlow
from walkboard.work.live.values import Outcome, Shown, Step

ORGAN, STATE = hall()
# Reeds: a tool at the spring does not warm them, so they are believed at once.
PIPES = [PipeRef("swell.clarion4", n) for n in (13, 14, 15)]


def flow() -> TuningFlow:
    return TuningFlow(ORGAN, worklist(ORGAN, STATE, PIPES), RATE, STATE.air_celsius, update_s=0.1)


def sounded(
    at: TuningFlow, pipe: PipeRef, cents: float, start_s: float, seconds: float = 3.6
) -> list[Shown]:
    """What the flow shows while a pipe sounds so far off, for so long."""
    hz = STATE.pipes[pipe].target_hz * 2.0 ** (cents / 1200.0)
    made = moved(hz, still, "flue", np.random.default_rng(3), seconds=seconds, reverberation_s=1.0)
    shown: list[Shown] = []
    for first in range(0, len(made.samples), 960):
        shown += at.take(made.samples[first : first + 960], start_s + first / RATE)
        if shown and shown[-1].finished is not None:
            break
    return shown


def test_who_follows_the_screen_leaves_pipes_in_tune() -> None:
    # reeds, for their springs are reached with a tool and do not warm; all kinds: bench practice
    pipes = strays(ORGAN, STATE, {TunedBy.SPRING: 1})
    for tuned in tune(ORGAN, STATE, pipes, 5, room_s=0.8):
        assert abs(tuned.before_cents) > 1.5
        assert abs(tuned.after_cents) < 0.5
        assert tuned.result is not None
        assert tuned.result.outcome is Outcome.DONE
        assert tuned.result.before is not None
        assert tuned.result.before.cents == pytest.approx(tuned.before_cents, abs=0.4)
        assert tuned.result.settled_cents == pytest.approx(tuned.after_cents, abs=0.5)


def test_a_pipe_inside_tolerance_is_left_as_it_is() -> None:
    at = flow()
    shown = sounded(at, PIPES[0], 0.1, 0.0)
    finished = shown[-1].finished
    assert finished is not None
    assert finished.task.pipe == PIPES[0]
    assert finished.handled_s is None
    assert shown[-1].words.endswith("as it was")
    assert at.task is not None
    assert at.task.pipe == PIPES[1]


def test_the_screen_says_which_way_and_how_far() -> None:
    shown = sounded(flow(), PIPES[0], 6.0, 0.0)
    last = shown[-1]
    assert last.step is Step.MOVE
    assert last.advice is not None
    assert last.advice.cents == pytest.approx(-6.0, abs=0.2)
    assert last.next_task is not None
    assert last.next_task.pipe == PIPES[1]


def test_another_key_is_reported_to_the_key_holder() -> None:
    shown = sounded(flow(), PIPES[2], 1.0, 0.0)
    last = shown[-1]
    assert last.step is Step.HOLD
    keys = [task.key.name for task in worklist(ORGAN, STATE, PIPES)]
    assert last.words == f"{keys[2]} is held; hold {keys[0]}"


def test_skip_come_back_undo_and_the_end() -> None:
    at = flow()
    assert at.skip() is not None
    sounded(at, PIPES[1], 0.0, 10.0)
    sounded(at, PIPES[2], 0.0, 20.0)
    assert at.task is None  # the skipped one was dealt with
    assert at.show().step is Step.END
    assert [r.outcome for r in at.results] == [Outcome.SKIPPED, Outcome.DONE, Outcome.DONE]
    undone = at.undo()
    assert undone is not None
    assert undone.pipe == PIPES[2]
    assert at.show().done == 1
    assert at.come_back(PIPES[0]).pipe == PIPES[0]
    with pytest.raises(UnknownNameError, match=r"no pipe swell\.clarion4:1"):
        at.come_back(PipeRef("swell.clarion4", 1))


def test_an_empty_worklist_is_at_its_end() -> None:
    at = TuningFlow(ORGAN, [], RATE, {})
    assert at.show().step is Step.END
    assert at.take(np.zeros((960, 1)), 0.0) == ()


def test_a_celeste_follows_its_partner_as_it_was_left() -> None:
    """The Gamba is left 0.3 cent sharp; the Céleste's target goes up with it, beats kept."""
    pair = [PipeRef("swell.gamba8", 42), PipeRef("swell.celeste8", 30)]  # both at F5
    at = TuningFlow(ORGAN, worklist(ORGAN, STATE, pair), RATE, STATE.air_celsius, update_s=0.1)
    gamba_hz = STATE.pipes[pair[0]].target_hz
    sounded(at, pair[0], 0.3, 0.0, seconds=12.0)
    done = at.results[0]
    assert done.outcome is Outcome.DONE
    assert done.settled_cents is not None
    assert done.settled_cents == pytest.approx(0.3, abs=0.2)
    assert at.task is not None
    left_hz = gamba_hz * 2.0 ** (done.settled_cents / 1200.0)
    beats = ORGAN.rank("swell.celeste8").celeste_beats_hz
    assert at.task.target_hz - left_hz == pytest.approx(beats, abs=1e-6)
