"""The hidden state of an organ over invented years, and the thermometer carried through them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from walkboard.demo.years.habits import YearsHabits
from walkboard.demo.years.weather import Weather
from walkboard.organ.model import Organ, Rank, TunedBy
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_STEP_YEARS = 1.0 / 12.0  # the organ advances in steps of at most a month


class OrganState:
    """The organ's hidden state."""

    def __init__(self, organ: Organ, habits: YearsHabits, rng: np.random.Generator) -> None:
        self._organ, self._habits, self._rng = organ, habits, rng
        self.pipes = tuple(organ.pipes())
        divisions = {d.id: n for n, d in enumerate(organ.divisions)}
        counts = [rank.pipes for rank in organ.ranks]
        self.rank_of = np.repeat(np.arange(len(counts)), counts)

        def spread(values: Sequence[float]) -> FloatArray:
            return np.array(values, dtype=np.float64)[self.rank_of]

        ranks = organ.ranks
        self.division_of = spread([divisions[r.division] for r in ranks]).astype(np.int64)
        self.reed = spread([not r.family.is_flue for r in ranks]).astype(np.bool_)
        self.historic = spread([r.historic for r in ranks]).astype(np.bool_)
        n = len(self.pipes)
        uneven = np.exp(habits.uneven * rng.standard_normal(n))
        self.wander = np.where(self.reed, habits.reed_wander, habits.flue_wander) * uneven
        cone = spread([r.tuned_by is TunedBy.CONE for r in ranks]).astype(np.bool_)
        self.wander = np.where(cone, habits.cone_steadier * self.wander, self.wander)
        prone = rng.gamma(habits.prone_shape, 1.0 / habits.prone_shape, n)
        self._slips = spread([habits.slips_a_year.get(r.tuned_by, 0.0) for r in ranks]) * prone
        self._rank_reed = np.array([not r.family.is_flue for r in ranks])
        rank_scale = np.where(self._rank_reed, habits.reed_rank_wander, habits.flue_rank_wander)
        self._rank_scale = rank_scale * np.exp(0.3 * rng.standard_normal(len(ranks)))
        self._rank = np.where(self._rank_reed, 2.0, 0.7) * rng.standard_normal(len(ranks))
        self._dust = np.zeros(len(divisions))
        self._follow = self._following(rng)
        self._wood = np.array([self._wood_of(r, rng) for r in ranks])
        self._damp: float | None = None
        self._own = np.where(self.reed, 1.6, 1.0) * rng.standard_t(4.0, n) / np.sqrt(2.0)
        self._slip(np.full(n, 2.0))

    def _following(self, rng: np.random.Generator) -> FloatArray:
        """Share of a flue's movement with air that a rank misses or exceeds, or a reed follows."""
        n = len(self._rank_reed)
        flue = self._habits.flue_follow_spread * rng.standard_normal(n)
        reed = self._habits.reed_follow + self._habits.reed_follow_spread * rng.standard_normal(n)
        follow: FloatArray = np.where(self._rank_reed, reed - 1.0, flue)
        return follow

    def _wood_of(self, rank: Rank, rng: np.random.Generator) -> float:
        stopper = rank.tuned_by is TunedBy.STOPPER
        return float(self._habits.wood_cents * (1.0 + 0.3 * rng.standard_normal())) * stopper

    def pass_time(self, elapsed_years: float, weather: Weather) -> None:
        """Advance to the next visit: wander, movement of ranks, dust, slips, humidity."""
        steps = max(1, round(elapsed_years / _STEP_YEARS))
        step = elapsed_years / steps
        habits, rng = self._habits, self._rng
        scale = np.sqrt(step / 2.0)  # a t of four degrees of freedom has a variance of 2
        for _ in range(steps):
            self._own += self.wander * scale * rng.standard_t(4.0, len(self._own))
            self._rank += self._rank_scale * scale * rng.standard_t(4.0, len(self._rank))
            self._dust -= habits.dust_cents_a_year * step * rng.gamma(2.0, 0.5, len(self._dust))
            self._slip(np.full(len(self._own), step))
        if self._damp is None:
            self._damp = weather.humidity
        self._damp += (weather.humidity - self._damp) * (1.0 - np.exp(-elapsed_years / 0.15))

    def _slip(self, years: FloatArray) -> None:
        habits, rng = self._habits, self._rng
        slipped = rng.random(len(years)) < 1.0 - np.exp(-self._slips * years)
        size = habits.slip_cents * np.exp(habits.slip_spread * rng.standard_normal(len(years)))
        flat = np.where(self.reed, 0.5, habits.slips_flat)
        sign = np.where(rng.random(len(years)) < flat, -1.0, 1.0)
        self._own += slipped * sign * size

    def true_cents(self, weather: Weather) -> FloatArray:
        """Each pipe's deviation from its target in its true air [cents]."""
        air = np.array(
            [
                self._air_cents(self._organ.pitch.at_celsius, weather.celsius[r.division])
                for r in self._organ.ranks
            ]
        )
        damp = weather.humidity if self._damp is None else self._damp
        rank = self._rank + self._follow * air + self._wood * 100.0 * (damp - 0.5)
        dust = np.where(self.reed, 0.0, self._dust[self.division_of])
        cents: FloatArray = self._own + rank[self.rank_of] + dust
        return cents

    def shown_less_true(self, weather: Weather, shown_celsius: Mapping[str, float]) -> FloatArray:
        """Error of a reading against `true_cents` from a wrong thermometer."""
        wrong = [
            self._air_cents(shown_celsius[r.division], weather.celsius[r.division])
            for r in self._organ.ranks
        ]
        return np.array(wrong)[self.rank_of]

    def reading_sigma(self, rng: np.random.Generator) -> FloatArray:
        """Uncertainty of a reading of each pipe [cents]."""
        usual = np.where(self.reed, 0.25, 0.12)
        sigma: FloatArray = usual * np.exp(0.4 * rng.standard_normal(len(usual)))
        return sigma

    def tune(self, tuned: BoolArray, wanted: FloatArray, weather: Weather) -> None:
        """Leave pipes near where they are wanted, relative to their targets in the true air."""
        error = np.where(self.reed, self._habits.reed_left_cents, self._habits.flue_left_cents)
        left = wanted + error * self._rng.standard_normal(len(error))
        self._own = np.where(tuned, self._own + left - self.true_cents(weather), self._own)

    def _air_cents(self, from_celsius: float, to_celsius: float) -> float:
        pipe = self.pipes[0]
        return cents_of_ratio(
            target_hz(self._organ, pipe, to_celsius) / target_hz(self._organ, pipe, from_celsius)
        )


class Thermometers:
    """One thermometer carried around: a slow error, and a small one at every place."""

    def __init__(self, organ: Organ, habits: YearsHabits, rng: np.random.Generator) -> None:
        self._organ, self._habits, self._rng = organ, habits, rng
        self._off = habits.slow_celsius * rng.standard_normal()

    def pass_time(self, elapsed_years: float) -> None:
        """Advance the slow error."""
        kept = np.exp(-elapsed_years / self._habits.slow_years)
        fresh = self._habits.slow_celsius * np.sqrt(1.0 - kept**2)
        self._off = kept * self._off + fresh * self._rng.standard_normal()

    def show(self, weather: Weather) -> dict[str, float]:
        """Its reading at each division, to a tenth [°C]."""
        return {
            d.id: round(
                weather.celsius[d.id]
                + float(self._off + self._habits.place_celsius * self._rng.standard_normal()),
                1,
            )
            for d in self._organ.divisions
        }
