"""A round being built: what still fits, and what one more visit would bring."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from walkboard.planning.arrays import BoolArray, FloatArray
from walkboard.planning.rounds.kinds import Firm, Prices, Round, Stop

_SLACK_H = 1e-9  # of rounding, where hours are added and taken away


class BeingBuilt:
    """A set of visits that fits, with everybody's remaining hours.

    A tuner's organs in one town in one week share the drive there.
    """

    def __init__(
        self, firm: Firm, prices: Prices, before: Iterable[Stop] = (), stops: Iterable[Stop] = ()
    ) -> None:
        self.firm, self.prices, self.before = firm, prices, frozenset(before)
        organs, weeks, tuners = firm.shape
        self.stops: set[Stop] = set()
        self.left_hours = firm.capacity_hours.copy()
        self.key_holder_left = firm.key_holder_hours.copy()
        self._trips = np.zeros((len(firm.driving_hours.T), weeks, tuners), dtype=int)
        self._driven = 0.0
        self._brought = np.zeros(organs)
        self.of_organ: list[set[Stop]] = [set() for _ in range(organs)]
        self.of_week: list[set[Stop]] = [set() for _ in range(weeks)]
        self._count = np.zeros(organs, dtype=int)
        self._stays = np.zeros(firm.allowed.shape)
        for stop in self.before:
            self._stays[stop.organ, stop.week, stop.tuner] = prices.moved_visit
        self._gain = np.stack([b.sum(axis=0) for b in firm.benefit]) if organs else np.zeros((0, 0))
        for stop in stops:
            self.add(stop)

    def add(self, stop: Stop) -> None:
        """Put in a visit that fits."""
        for place in self._places(stop):
            place.add(stop)
        self._book(stop, +1)

    def remove(self, stop: Stop) -> None:
        """Take out a visit."""
        for place in self._places(stop):
            place.remove(stop)
        self._book(stop, -1)

    def go_back(self, stops: frozenset[Stop]) -> None:
        """Have exactly these visits again."""
        for stop in self.stops - stops:
            self.remove(stop)
        for stop in stops - self.stops:
            self.add(stop)

    def rate_of(self, stop: Stop) -> float:
        """Benefit an hour of a visit that is in, as if it were alone."""
        gain = float(self.firm.benefit[stop.organ][:, stop.week].sum())
        return (gain + float(self._stays[stop.organ, stop.week, stop.tuner])) / float(
            self.firm.hours[stop.organ]
        )

    def same_key_holder(self, one: Stop, other: Stop) -> bool:
        """Whether two visits take the same person's hours at the keys."""
        holder = self.firm.key_holder[one.organ]
        return bool(holder >= 0 and holder == self.firm.key_holder[other.organ])

    def open_organs(self) -> list[int]:
        """Organs that may be visited once more."""
        return [int(o) for o in np.flatnonzero(self._count < self.firm.most_visits)]

    def fits(self, stop: Stop) -> bool:
        """Whether there are the hours for one more visit, and it is allowed."""
        return bool(self.fitting([stop.organ])[0, stop.week, stop.tuner])

    def fitting(self, organs: list[int]) -> BoolArray:
        """Where one more visit of each of these organs fits: (organs, weeks, tuners)."""
        firm = self.firm
        which = np.asarray(organs, dtype=int)
        hours = firm.hours[which][:, None, None] + self._extra_driving(which)
        fits = firm.allowed[which] & (hours <= self.left_hours[None] + _SLACK_H)
        fits &= (self._count[which] < firm.most_visits[which])[:, None, None]
        held = firm.key_holder[which]
        for n, holder in enumerate(held):
            if holder >= 0:
                there = self.key_holder_left[holder] + _SLACK_H >= firm.hours[which[n]]
                fits[n] &= there[:, None]
        for n, organ in enumerate(organs):  # not twice in a week, whoever goes
            for stop in self.of_organ[organ]:
                fits[n, stop.week, :] = False
        found: BoolArray = fits
        return found

    def worth(self, organs: list[int]) -> FloatArray:
        """What one more visit of each of these organs is worth: (organs, weeks, tuners)."""
        which = np.asarray(organs, dtype=int)
        driving = self.prices.driving_hour * self._extra_driving(which)
        found: FloatArray = self._gain[which][:, :, None] - driving + self._stays[which]
        return found

    def hours(self, organs: list[int]) -> FloatArray:
        """Hours that one more visit of each takes, with driving: (organs, weeks, tuners)."""
        which = np.asarray(organs, dtype=int)
        found: FloatArray = self.firm.hours[which][:, None, None] + self._extra_driving(which)
        return found

    def total(self) -> float:
        """Benefit less the price of driving; visits that stay where they were count for more."""
        stays = self.prices.moved_visit * len(self.before & self.stops)
        return self._benefit() - self.prices.driving_hour * self._driven + stays

    def as_round(self) -> Round:
        """What has been built."""
        moved = len(self.before - self.stops)
        benefit, driving = self._benefit(), float(self._driven)
        worth = benefit - self.prices.driving_hour * driving - self.prices.moved_visit * moved
        return Round(tuple(sorted(self.stops)), benefit, driving, moved, worth)

    def same_trip(self, stop: Stop) -> list[int]:
        """Organs whose worth a visit changes: its own, and those of its town."""
        return [int(o) for o in np.flatnonzero(self.firm.town == self.firm.town[stop.organ])]

    def _places(self, stop: Stop) -> tuple[set[Stop], ...]:
        return self.stops, self.of_organ[stop.organ], self.of_week[stop.week]

    def _extra_driving(self, which: np.ndarray[tuple[int], np.dtype[np.int64]]) -> FloatArray:
        """Driving that one more visit adds: (organs, weeks, tuners) [h]."""
        firm = self.firm
        towns = firm.town[which]
        there = self._trips[towns] > 0
        found: FloatArray = np.where(there, 0.0, firm.driving_hours.T[towns][:, None, :])
        return found

    def _book(self, stop: Stop, by: int) -> None:
        firm = self.firm
        town = firm.town[stop.organ]
        trips = self._trips[town, stop.week]
        if trips[stop.tuner] == (0 if by > 0 else 1):
            drive = by * float(firm.driving_hours[stop.tuner, town])
            self.left_hours[stop.week, stop.tuner] -= drive
            self._driven += drive
        trips[stop.tuner] += by
        self.left_hours[stop.week, stop.tuner] -= by * firm.hours[stop.organ]
        holder = firm.key_holder[stop.organ]
        if holder >= 0:
            self.key_holder_left[holder, stop.week] -= by * firm.hours[stop.organ]
        self._count[stop.organ] += by
        benefit = firm.benefit[stop.organ]
        weeks = [s.week for s in self.of_organ[stop.organ]]
        reached = benefit[:, weeks].max(axis=1) if weeks else np.zeros(len(benefit))
        self._brought[stop.organ] = reached.sum()
        self._gain[stop.organ] = np.maximum(0.0, benefit - reached[:, None]).sum(axis=0)

    def _benefit(self) -> float:
        return float(self._brought.sum())
