"""What the screen says, reading by reading, of a pipe whose readings are given."""

from collections.abc import Sequence

import numpy as np
import pytest

from tests.work.practising import hall
from walkboard.condition.settling.forecast import Forecast, Warmth
from walkboard.listening.live.company import Company
from walkboard.listening.live.readings import LiveFlag, LiveReading
from walkboard.organ.model import PipeRef
from walkboard.work.live.judge import Ground, Verdict, judge
from walkboard.work.live.pipe import AtPipe
from walkboard.work.live.values import Reason, Step, Task

ORGAN, _ = hall()
PIPE = PipeRef("great.octave4", 25)
TASK = Task(PIPE, ORGAN.rank(PIPE.rank).key_of(25), "great.octave4", 523.25)
GROUND = Ground(ORGAN, 20.0, 0.5, None, ())
HAND = Warmth(50.0, 0.6, 5.0)
TOOL = Warmth(50.0, 0.6, 0.2)
STEP_S = 0.1
ALONE = Company(is_alone=True, asked=5)


def reading(
    at_s: float,
    cents: float,
    *flags: LiveFlag,
    own_db: float = -20.0,
    bright_db: float = 5.0,
    window_s: float = 1.0,
    company: Company | None = ALONE,
) -> LiveReading:
    hz = TASK.target_hz * 2.0 ** (cents / 1200.0)
    beats = hz - TASK.target_hz
    return LiveReading(
        at_s,
        hz,
        0.03,
        cents,
        beats,
        own_db,
        window_s,
        flags,
        company=company,
        own_db=own_db,
        bright_db=bright_db,
    )


def judge_all(
    work: AtPipe, readings: Sequence[LiveReading], ground: Ground = GROUND
) -> list[Verdict]:
    return [judge(TASK, one, work, ground) for one in readings]


def stretch(start_s: float, seconds: float, cents: float, **more: float) -> list[LiveReading]:
    times = start_s + np.arange(0.0, seconds, STEP_S)
    return [reading(float(t), cents, **more) for t in times]  # type: ignore[arg-type]


def test_a_pipe_that_stands_in_tune_is_done_and_one_that_is_off_is_to_be_moved() -> None:
    done = judge_all(AtPipe(TOOL), stretch(1.0, 4.0, 0.1))
    assert any(verdict.step is Step.DONE for verdict in done)
    off = judge_all(AtPipe(TOOL), stretch(1.0, 4.0, 6.0))[-1]
    assert off.step is Step.MOVE
    assert off.advice is not None
    assert off.advice.cents == pytest.approx(-6.0, abs=0.2)


def test_a_pipe_that_cools_as_it_passes_its_target_is_not_done() -> None:
    # it settles 6 cents flat; nobody was seen to touch it
    times = 1.0 + np.arange(0.0, 9.0, STEP_S)
    cents = -6.0 + 6.2 * np.exp(-(times - 1.0) / 40.0)
    verdicts = judge_all(AtPipe(HAND), [reading(*both) for both in zip(times, cents, strict=True)])
    assert all(verdict.step is not Step.DONE for verdict in verdicts)
    assert all(v.advice is None or v.advice.cents > 0.0 for v in verdicts)


def test_skipped_and_taken_up_again_a_pipe_is_still_known_to_be_warm() -> None:
    work = AtPipe(HAND)
    judge_all(work, stretch(1.0, 2.0, 7.0))
    judge_all(work, [reading(3.0 + 0.1 * n, 7.0 - n, LiveFlag.MOVING) for n in range(7)])
    judge_all(work, stretch(3.7, 1.0, 0.0))
    work.leave()
    assert work.handled_s is not None
    again = judge_all(work, stretch(8.0, 3.0, -0.1))
    assert all(verdict.step is not Step.DONE for verdict in again)
    assert work.before is not None
    assert work.before.cents == pytest.approx(7.0)


def test_advice_goes_silent_at_once_when_the_pipe_stands_elsewhere() -> None:
    # a spring is knocked from 22 flat to 4 sharp: the old mean must not speak beside the new value
    work = AtPipe(TOOL)
    before = judge_all(work, stretch(1.0, 3.0, -22.0))[-1]
    assert before.advice is not None
    after = judge_all(work, [reading(4.0 + 0.05 * n, 4.0, window_s=0.2) for n in range(20)])
    assert all(v.advice is None or v.advice.cents < 0.0 for v in after)
    later = judge_all(work, stretch(5.0, 3.0, 4.0))[-1]
    assert later.advice is not None
    assert later.advice.cents < 0.0


def settles(cents: float, sigma_cents: float) -> Forecast:
    """A forecast that is a plain normal."""
    one = np.array([1.0])
    return Forecast(
        settled_cents=cents,
        sigma_cents=sigma_cents,
        above_cents=0.0,
        tau_s=50.0,
        log_tau=3.9,
        log_tau_sigma=0.5,
        seconds=0.0,
        _weights=one,
        _means=one * cents,
        _sigmas=one * sigma_cents,
    )


@pytest.mark.parametrize(
    ("cents", "sigma_cents", "handled", "step"),
    [
        # The chance that a normal of .3 lies beyond .5 (tables of the normal law): .02, .05;
        (0.3, 0.0974, True, Step.DONE),
        (0.3, 0.1216, True, Step.LISTEN),
        # .004 and .012 where nobody was seen to touch it.
        (0.3, 0.0754, False, Step.DONE),
        (0.3, 0.0886, False, Step.LISTEN),
        # Known to half the tolerance: moved from .35 on, and from two σ on.
        (0.4, 0.1, True, Step.MOVE),
        (0.33, 0.1, True, Step.LISTEN),
        (0.45, 0.24, True, Step.LISTEN),
        # Known less well: surely off, surely on that side, and clear enough to be worth a move.
        (1.8, 0.6, True, Step.MOVE),
        (1.6, 0.6, True, Step.WAIT),
        (4.0, 0.8, True, Step.WAIT),
        (6.0, 0.8, True, Step.MOVE),
    ],
)
def test_done_moved_or_waited_for_by_what_the_forecast_leaves_open(
    monkeypatch: pytest.MonkeyPatch, cents: float, sigma_cents: float, handled: bool, step: Step
) -> None:
    monkeypatch.setattr(
        "walkboard.work.live.pipe.forecast", lambda *_, **__: settles(cents, sigma_cents)
    )
    work = AtPipe(HAND)
    if handled:
        work.handled_s = 0.5
    verdicts = judge_all(work, stretch(1.0, 4.0, cents))
    assert step in {verdict.step for verdict in verdicts}
    assert {v.step for v in verdicts} <= {step, Step.LISTEN}


def test_a_hand_near_the_mouth_is_recognised_by_level_and_gets_no_advice() -> None:
    work = AtPipe(TOOL)
    judge_all(work, stretch(1.0, 3.0, 3.0))
    shaded = judge_all(work, stretch(4.0, 2.0, -9.0, own_db=-28.0))
    assert all(verdict.advice is None for verdict in shaded)
    assert shaded[-1].reason is Reason.SHADED
    free = judge_all(work, stretch(6.0, 4.0, 3.0))
    assert any(verdict.words == "moving" for verdict in free[:5])
    assert free[-1].advice is not None
    assert free[-1].advice.cents == pytest.approx(-3.0, abs=0.3)


@pytest.mark.parametrize(("bright_db", "is_shaded"), [(2.5, True), (5.0, False)])
def test_a_hand_a_little_way_off_is_recognised_by_the_dull_tone(
    bright_db: float, is_shaded: bool
) -> None:
    # 2.5 dB softer is no hand by itself: so much a pipe differs from one moment to the next.
    work = AtPipe(TOOL)
    judge_all(work, stretch(1.0, 3.0, 3.0))
    softer = judge_all(work, stretch(4.0, 2.0, 3.0, own_db=-22.5, bright_db=bright_db))
    assert (softer[-1].reason is Reason.SHADED) is is_shaded


def test_quieter_than_its_rank_from_the_start_is_not_called_done_at_once() -> None:
    ground = Ground(ORGAN, 20.0, 0.5, -20.0, ())
    quiet = judge_all(AtPipe(TOOL), stretch(1.0, 5.0, 0.0, own_db=-30.0), ground)
    assert quiet[-1].reason is Reason.SHADED
    # a pipe that simply is quiet is accepted in the end
    accepted = judge_all(AtPipe(TOOL), stretch(1.0, 12.0, 0.0, own_db=-30.0), ground)
    assert any(verdict.step is Step.DONE for verdict in accepted)


def test_a_little_quieter_than_its_rank_and_trembling_it_is_shaded_from_the_start() -> None:
    ground = Ground(ORGAN, 20.0, 0.5, -20.0, ())
    trembling = [
        reading(float(t), 6.0, own_db=-25.0 + float(np.sin(9.0 * t)))
        for t in 1.0 + np.arange(0.0, 5.0, STEP_S)
    ]
    shaded = judge_all(AtPipe(HAND), trembling, ground)
    assert all(verdict.advice is None for verdict in shaded)
    assert shaded[-1].reason is Reason.SHADED
    simply_quiet = judge_all(AtPipe(HAND), stretch(1.0, 5.0, 6.0, own_db=-25.0), ground)
    assert simply_quiet[-1].advice is not None


def test_before_it_is_known_to_be_alone_a_pipe_gets_no_advice() -> None:
    attack = [reading(float(t), 6.0, LiveFlag.ATTACK) for t in 1.0 + np.arange(0.0, 4.0, STEP_S)]
    assert all(v.step is Step.LISTEN and v.advice is None for v in judge_all(AtPipe(TOOL), attack))


def warmed(seconds: float, still_on_s: float, *, settles: float) -> list[tuple[float, float]]:
    """Moved at 3 s; the hand stays on it for a while and warms it, then it cools by e in 40 s."""
    times = 3.4 + np.arange(0.0, seconds, STEP_S)
    on_s = np.minimum(times - 3.0, still_on_s)
    off_s = np.maximum(0.0, times - 3.0 - still_on_s)
    warm = 5.0 * (1.0 - np.exp(-on_s / 4.0)) * np.exp(-off_s / 40.0)
    return list(zip(times, settles + warm, strict=True))


def test_while_the_hand_still_warms_a_pipe_its_rise_is_not_taken_for_cooling() -> None:
    work = AtPipe(HAND)
    judge_all(work, stretch(1.0, 2.0, 7.0))
    judge_all(work, [reading(3.0 + 0.1 * n, 7.0 - 2 * n, LiveFlag.MOVING) for n in range(4)])
    heard = [reading(at_s, cents) for at_s, cents in warmed(6.0, 2.0, settles=-1.0)]
    verdicts = judge_all(work, heard)
    # The hand left at 5.0 s; a reading counts for the middle of its second.
    assert work.handled_s == pytest.approx(4.5, abs=0.4)
    assert work.forecast is not None
    assert work.forecast.offset_cents > 0.0
    assert all(v.advice is None or v.advice.cents > 0.0 for v in verdicts[20:])


def test_the_next_cooling_of_a_pipe_begins_with_what_its_last_one_showed() -> None:
    work = AtPipe(HAND)
    judge_all(work, stretch(1.0, 2.0, 7.0))
    judge_all(work, [reading(3.0 + 0.1 * n, 7.0 - 2 * n, LiveFlag.MOVING) for n in range(4)])
    judge_all(work, [reading(at_s, cents) for at_s, cents in warmed(90.0, 1.5, settles=-4.0)])
    assert work.forecast is not None
    was = work.forecast.log_tau
    judge_all(work, [reading(94.0 + 0.1 * n, -4.0 + 2 * n, LiveFlag.MOVING) for n in range(4)])
    judge_all(work, stretch(95.0, 3.0, 2.0))
    assert work.forecast is not None
    assert work.forecast.log_tau == pytest.approx(was, abs=0.15)
    assert work.forecast.log_tau_sigma < 0.55 < HAND.spread


def test_left_to_cool_and_taken_up_again_a_pipe_stands_where_it_was_expected() -> None:
    work = AtPipe(HAND)
    judge_all(work, stretch(1.0, 2.0, 7.0))
    judge_all(work, [reading(3.0 + 0.1 * n, 7.0 - 2 * n, LiveFlag.MOVING) for n in range(4)])
    heard = warmed(170.0, 1.5, settles=0.1)
    judge_all(work, [reading(at_s, cents) for at_s, cents in heard if at_s < 25.0])
    handled_s = work.handled_s
    work.leave()
    back = [reading(at_s, cents) for at_s, cents in heard if at_s > 160.0]
    verdicts = judge_all(work, back)
    assert work.handled_s == handled_s
    done = next(n for n, verdict in enumerate(verdicts) if verdict.step is Step.DONE)
    assert back[done].at_s - back[0].at_s < 5.0


def test_moved_by_someone_while_it_was_left_a_pipe_has_moved() -> None:
    work = AtPipe(HAND)
    judge_all(work, stretch(1.0, 2.0, 7.0))
    judge_all(work, [reading(3.0 + 0.1 * n, 7.0 - 2 * n, LiveFlag.MOVING) for n in range(4)])
    judge_all(work, [reading(at_s, cents) for at_s, cents in warmed(22.0, 1.5, settles=0.1)])
    work.leave()
    verdicts = judge_all(work, stretch(160.0, 3.0, -6.0))
    assert work.handled_s is not None
    assert work.handled_s > 160.0
    assert all(verdict.step is not Step.DONE for verdict in verdicts)


def test_two_moves_on_one_advice_say_nothing_of_the_hand() -> None:
    work = AtPipe(TOOL)
    assert judge_all(work, stretch(1.0, 3.0, 8.0))[-1].advice is not None
    judge_all(work, [reading(4.0 + 0.1 * n, 8.0 - 2 * n, LiveFlag.MOVING) for n in range(4)])
    work.ask(-2.0, 2.0, 0.1)  # the screen asks for more before the first move was read
    judge_all(work, [reading(4.4 + 0.1 * n, 2.0 + 4 * n, LiveFlag.MOVING) for n in range(4)])
    assert all(verdict.move is None for verdict in judge_all(work, stretch(5.0, 3.0, 14.0)))


def test_with_company_nothing_is_advised_and_nothing_is_done() -> None:
    octave = Company(is_alone=False, multiple=2, others_cents=2.0, asked=6)
    with_octave = [
        reading(1.0 + STEP_S * n, 0.0, LiveFlag.NEIGHBOUR, company=octave) for n in range(50)
    ]
    verdicts = judge_all(AtPipe(TOOL), with_octave)
    assert {verdict.step for verdict in verdicts} == {Step.LISTEN}
    assert {verdict.reason for verdict in verdicts} == {Reason.COMPANY}
    assert "an octave up" in verdicts[-1].words or "is drawn too" in verdicts[-1].words


def test_the_tremulant_is_to_be_switched_off() -> None:
    swinging = reading(1.0, 3.0).without(LiveFlag.TREMULANT)
    assert swinging.cents is None
    verdict = judge(TASK, swinging, AtPipe(TOOL), GROUND)
    assert verdict.words == "the tremulant is on: switch it off"
    assert verdict.reason is Reason.TREMULANT


def test_a_look_without_a_verdict_on_company_cannot_make_a_pipe_done() -> None:
    times = 1.0 + np.arange(0.0, 5.0, STEP_S)
    verdicts = judge_all(AtPipe(TOOL), [reading(float(t), 0.0, company=None) for t in times])
    assert all(verdict.step is not Step.DONE for verdict in verdicts)
