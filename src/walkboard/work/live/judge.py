"""Decides what to show for one reading of the current pipe: wait, move this far, or done.

Pure, except for the pipe's state that it is given. Advice is based on this reading and a forecast
that agrees with it; if the two differ there is no advice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from walkboard.condition.settling.forecast import Forecast
from walkboard.condition.settling.moves import Advice, MoveSeen, advise, learn_hand, tongue_mm
from walkboard.listening.live.readings import LiveFlag, LiveReading
from walkboard.organ.model import Organ, TunedBy
from walkboard.physics.air import Air, speed_of_sound_m_s
from walkboard.work.live.company import company_words
from walkboard.work.live.pipe import LIMITS as PIPE_LIMITS
from walkboard.work.live.pipe import AtPipe
from walkboard.work.live.values import Reason, Step, Task


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of advice. Chosen, unless marked otherwise.

    Attributes
    ----------
    quiet_s : float
        How long unmoved before a move is advised [s].
    done_quiet_s, done_window_s : float
        How long unmoved, and the reading's window, before a pipe can be done [s].
    steady_cents : float
        Largest σ of a reading that is used [cents].
    outside, outside_unseen : float
        Largest chance of settling outside the tolerance for a pipe to be done: for one seen to be
        handled, and for one that nobody was seen to touch [-]; fitted by ``bench settling``.
    margin, worth_sigmas : float
        Share of the tolerance, and σ, beyond which a pipe known to half the tolerance is moved [-].
    surely_off : float
        Chance of being outside, from which a less well known pipe is moved [-].
    other_side : float
        Largest chance of settling on the other side of its target at which it is still moved [-].
    far_tolerances, far_share : float
        Its largest σ: in tolerances, or as a share of how far it is off [-].
    known_move : float
        Largest σ, as a share of the asked move, for the forecast to show what a move did.
    """

    quiet_s: float = 1.5
    done_quiet_s: float = 2.0
    done_window_s: float = 0.8
    steady_cents: float = 0.4
    outside: float = 0.03
    outside_unseen: float = 0.006
    margin: float = 0.7
    worth_sigmas: float = 2.0
    surely_off: float = 0.95
    other_side: float = 0.002
    far_tolerances: float = 1.5
    far_share: float = 0.15
    known_move: float = 0.12


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on one reading.

    Attributes
    ----------
    step : Step
    words : str
        One line for the tuner.
    advice : Advice or None
    reason : Reason
        What prevents advice.
    settled_cents, settled_sigma_cents : float or None
        Where a pipe that is done will settle.
    move : MoveSeen or None
        What the last move was meant to do and did, if known now.
    """

    step: Step
    words: str
    advice: Advice | None = None
    reason: Reason = Reason.NONE
    settled_cents: float | None = None
    settled_sigma_cents: float | None = None
    move: MoveSeen | None = None


@dataclass(frozen=True, slots=True)
class Ground:
    """The context for judging a pipe.

    Attributes
    ----------
    organ : Organ
    air_celsius : float
        Air in the pipe's division [°C].
    tolerance_cents : float
    rank_db : float or None
        Usual level of the rank's pipes when free [dB].
    moves : sequence of MoveSeen
        Moves in the rank, oldest first.
    """

    organ: Organ
    air_celsius: float
    tolerance_cents: float
    rank_db: float | None
    moves: Sequence[MoveSeen]
    sounds_on: str | None = None


def judge(task: Task, reading: LiveReading, work: AtPipe, ground: Ground) -> Verdict:
    """Take in one reading and decide what the tuner should do.

    Parameters
    ----------
    task : Task
        The pipe at hand.
    reading : LiveReading
    work : AtPipe
        What is known of it; updated here.
    ground : Ground
    """
    if reading.cents is None or reading.sigma_cents is None:
        if LiveFlag.UNSTEADY in reading.flags:  # it has just jumped, as when a hand comes near
            return Verdict(Step.LISTEN, "listening: not steady", reason=Reason.UNSTEADY)
        work.fall_silent()
        return _without_value(task, reading, ground)
    flags = reading.flags
    if LiveFlag.NEIGHBOUR in flags:
        work.quiet_since_s = float("inf")
        words = company_words(ground.organ, task, reading, ground.sounds_on)
        return Verdict(Step.LISTEN, words, reason=Reason.COMPANY)
    hand_has_gone = work.see_level(reading, ground.rank_db)
    if hand_has_gone or LiveFlag.MOVING in flags:
        work.move(reading.at_s)
        return Verdict(Step.MOVE, "moving")
    if work.is_shaded:
        work.quiet_since_s = float("inf")
        return Verdict(Step.WAIT, "a hand is near the mouth: take it away", reason=Reason.SHADED)
    if LiveFlag.UNSTEADY in flags:
        return Verdict(Step.LISTEN, "listening: not steady", reason=Reason.UNSTEADY)
    if LiveFlag.ATTACK in flags:
        return Verdict(Step.LISTEN, "listening")
    if LiveFlag.GAP in flags:
        words = "listening: samples are missing in the sound"
        return Verdict(Step.LISTEN, words, reason=Reason.GAP)
    if not work.stands_as_due(reading):
        if work.has_moved:
            work.move(reading.at_s, by_hand=not work.is_only_jostled)
            return Verdict(Step.MOVE, "moving")
        return Verdict(Step.LISTEN, "listening")
    quiet_s = work.rest(reading.at_s)
    if reading.sigma_cents > LIMITS.steady_cents:
        return Verdict(Step.LISTEN, "listening")
    work.remember(reading)
    is_sure = reading.sigma_cents <= PIPE_LIMITS.sure_cents
    if quiet_s < LIMITS.quiet_s or not is_sure or work.forecast is None:
        return Verdict(Step.LISTEN, "listening")
    return _judge_settled(task, reading, work, ground, quiet_s)


def _without_value(task: Task, reading: LiveReading, ground: Ground) -> Verdict:
    flags = reading.flags
    if LiveFlag.TREMULANT in flags:
        words = "the tremulant is on: switch it off"
        return Verdict(Step.LISTEN, words, reason=Reason.TREMULANT)
    if LiveFlag.HIDDEN in flags:
        words = company_words(ground.organ, task, reading, ground.sounds_on)
        return Verdict(Step.LISTEN, words, reason=Reason.COMPANY)
    if LiveFlag.OTHER_KEY in flags and reading.heard is not None:
        heard = ground.organ.rank(task.pipe.rank).key_of(int(reading.heard))
        return Verdict(Step.HOLD, f"{heard.name} is held; hold {task.key.name}")
    if LiveFlag.OCTAVE in flags:
        return Verdict(Step.HOLD, "it speaks an overtone: correct its speech first")
    return Verdict(Step.HOLD, f"hold {task.key.name}")


def _judge_settled(
    task: Task, reading: LiveReading, work: AtPipe, ground: Ground, quiet_s: float
) -> Verdict:
    """Whether a pipe at rest is done, must be moved, or must be heard for longer."""
    forecast = work.forecast
    assert forecast is not None
    settled, sigma, tolerance = forecast.settled_cents, forecast.sigma_cents, ground.tolerance_cents
    is_alone = reading.company is not None and reading.company.is_alone
    may_be_done = (
        is_alone and quiet_s >= LIMITS.done_quiet_s and reading.window_s >= LIMITS.done_window_s
    )
    move = _move_seen(work)
    outside = forecast.outside(tolerance)
    enough = LIMITS.outside_unseen if work.handled_s is None else LIMITS.outside
    if may_be_done and outside <= enough:
        return Verdict(Step.DONE, "", settled_cents=settled, settled_sigma_cents=sigma, move=move)
    is_known = sigma <= tolerance / 2
    if is_known:
        is_off = abs(settled) > max(LIMITS.margin * tolerance, LIMITS.worth_sigmas * sigma)
    else:
        is_clear = sigma <= max(LIMITS.far_tolerances * tolerance, LIMITS.far_share * abs(settled))
        is_off = is_clear and outside >= LIMITS.surely_off
    if is_off and forecast.on_other_side <= LIMITS.other_side:
        advice = _advice(task, reading, work, ground, forecast)
        return Verdict(Step.MOVE, advice.words, advice, move=move)
    if is_known:
        return Verdict(Step.LISTEN, "listening: it is close", move=move)
    # It may still go anywhere: moving it now would only chase it.
    words = f"hand off; {forecast.words}" if forecast.words else "hand off"
    return Verdict(Step.WAIT, words, move=move)


def _move_seen(work: AtPipe) -> MoveSeen | None:
    """What the last move was meant to do and did; None while that is unknown."""
    forecast = work.forecast
    if forecast is None or not work.is_moved:
        return None
    if work.asked_cents is None or work.stood_cents is None:
        return None
    if forecast.sigma_cents > LIMITS.known_move * abs(work.asked_cents):
        return None
    seen = MoveSeen(work.asked_cents, forecast.settled_cents - work.stood_cents)
    work.asked_cents, work.is_moved = None, False
    return seen


def _advice(
    task: Task, reading: LiveReading, work: AtPipe, ground: Ground, forecast: Forecast
) -> Advice:
    assert reading.hz is not None
    rank = ground.organ.rank(task.pipe.rank)
    settled_cents = forecast.settled_cents
    work.ask(-settled_cents, settled_cents, forecast.sigma_cents)
    speed = speed_of_sound_m_s(Air(ground.air_celsius))
    caution = "historic: ask the organ's adviser before you move it" if rank.historic else ""
    tongue = None
    tuned_by = rank.tuned_by_of(task.pipe.number)
    if tuned_by is TunedBy.SPRING:
        tongue = tongue_mm(rank, task.pipe.number, reading.hz)
    hand = learn_hand(ground.moves)
    return advise(tuned_by.value, -settled_cents, reading.hz, speed, hand, caution, tongue)
