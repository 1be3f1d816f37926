"""Pipes of an invented hall prepared for practice."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from walkboard.demo.hall import HallState
from walkboard.demo.practice.organ import PracticePipe
from walkboard.organ.model import Organ, PipeRef, TunedBy

# How much a hand warms a pipe while moving it, least and most [cents], and how long it takes to
# cool [s]. Common practice, no source: tools reach springs and cones, hands hold stoppers.
_WARMTH_CENTS = {
    TunedBy.SPRING: (0.0, 0.1),
    TunedBy.CONE: (0.0, 2.0),
    TunedBy.ROLL: (0.0, 3.0),
    TunedBy.SHADE: (0.0, 3.0),
    TunedBy.SLIDE: (1.0, 8.0),
    TunedBy.EARS: (1.0, 6.0),
    TunedBy.CAP: (3.0, 12.0),
    TunedBy.STOPPER: (3.0, 12.0),
}
_TAU_S = (20.0, 80.0)
# Tongues of reeds, longest and shortest for a pitch alike, and the exponent of their pitch against
# length: common practice, no source; the exponent is between the ideal bar's and the measured one.
_TONGUE_MM, _TONGUE_HZ, _TONGUE_SLOPE, _TONGUE_SPREAD = 70.0, 65.4, 0.7, 0.2
_EXPONENT = (1.0, 1.6)
_WAVES = {TunedBy.SLIDE: 2.0, TunedBy.STOPPER: 4.0, TunedBy.CAP: 4.0}


def practice_pipes(
    organ: Organ, state: HallState, pipes: Iterable[PipeRef], rng: np.random.Generator
) -> dict[PipeRef, PracticePipe]:
    """Practice pipes at the pitches of the hall's state.

    Parameters
    ----------
    organ : Organ
    state : HallState
        The hidden truth.
    pipes : iterable of PipeRef
    rng : numpy.random.Generator
    """
    made = {}
    for ref in pipes:
        device = organ.rank(ref.rank).tuned_by
        is_reed = device is TunedBy.SPRING
        least, most = _WARMTH_CENTS[device]
        tau_s = float(np.exp(rng.uniform(np.log(_TAU_S[0]), np.log(_TAU_S[1]))))
        made[ref] = PracticePipe(
            voice=state.voice(ref),
            target_hz=state.pipes[ref].target_hz,
            cents=state.cents(ref),
            waves=_WAVES.get(device),
            warmth_cents=float(rng.uniform(least, most)),
            tau_s=tau_s,
            tongue_mm=_tongue_mm(state.pipes[ref].target_hz, rng) if is_reed else None,
            exponent=float(rng.uniform(*_EXPONENT)) if is_reed else 1.0,
        )
    return made


def _tongue_mm(hz: float, rng: np.random.Generator) -> float:
    usual_mm = _TONGUE_MM * (_TONGUE_HZ / hz) ** _TONGUE_SLOPE
    return float(usual_mm * np.exp(rng.normal(0.0, _TONGUE_SPREAD)))
