"""How pipes of an invented organ move over years: sizes by kind, modelled on common practice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from walkboard.organ.model import TunedBy


@dataclass(frozen=True, slots=True)
class YearsHabits:
    """Sizes of all movements. Wander grows with the square root of time [cents in a year].

    Attributes
    ----------
    flue_wander, reed_wander : float
        Wander of a single pipe, in steps of a Student's t with four degrees of freedom.
    cone_steadier : float
        How much less cone-tuned pipes wander.
    uneven : float
        Spread of the pipes' own scales, as the standard deviation of their logarithm.
    flue_rank_wander, reed_rank_wander : float
        Wander of a whole rank.
    slips_a_year : mapping of TunedBy to float
        Chance that a pipe slips in a year; some pipes are prone, by a gamma of `prone_shape`.
    slip_cents, slip_spread : float
        Median of a slip, and the standard deviation of its logarithm.
    slips_flat : float
        Share of flues' slips that go flat; slides and stoppers almost always slip down.
    flue_follow_spread : float
        How far ranks of flues deviate from the physics of air, as a share of it.
    reed_follow, reed_follow_spread : float
        Share of the flues' movement with air that reeds follow.
    wood_cents : float
        Movement of stopped wood per per cent of humidity, with a lag of two months [cents].
    dust_cents_a_year : float
        How much flatter dust makes a division.
    slow_celsius, slow_years : float
        Slow error of the thermometer, and how long it lasts.
    place_celsius : float
        Its error at each place and visit.
    flue_left_cents, reed_left_cents : float
        How far off a tuned pipe is left, one standard deviation.
    """

    flue_wander: float = 0.8
    reed_wander: float = 2.2
    cone_steadier: float = 0.7
    uneven: float = 0.4
    flue_rank_wander: float = 0.8
    reed_rank_wander: float = 1.6
    slips_a_year: Mapping[TunedBy, float] = field(
        default_factory=lambda: {
            TunedBy.SLIDE: 0.035,
            TunedBy.STOPPER: 0.035,
            TunedBy.CAP: 0.02,
            TunedBy.SHADE: 0.02,
            TunedBy.ROLL: 0.015,
            TunedBy.EARS: 0.01,
            TunedBy.CONE: 0.006,
            TunedBy.SPRING: 0.09,
        }
    )
    prone_shape: float = 0.7
    slip_cents: float = 8.0
    slip_spread: float = 0.6
    slips_flat: float = 0.15
    flue_follow_spread: float = 0.03
    reed_follow: float = 0.04
    reed_follow_spread: float = 0.05
    wood_cents: float = 0.10
    dust_cents_a_year: float = 0.3
    slow_celsius: float = 0.3
    slow_years: float = 2.0
    place_celsius: float = 0.15
    flue_left_cents: float = 0.4
    reed_left_cents: float = 0.9


USUAL_YEARS = YearsHabits()
RESTLESS_RANKS = YearsHabits(flue_rank_wander=2.8, reed_rank_wander=4.0)
