"""What a round of visits is planned from, and what it is."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from walkboard.planning.arrays import BoolArray, FloatArray


@dataclass(frozen=True, eq=False)
class Firm:
    """Organs, tuners and weeks, as arrays; o organs, w weeks, t tuners, p towns, k key holders.

    Attributes
    ----------
    benefit : tuple of (events, w) array
        For each organ, what a visit in a week brings to each of its events (readiness gained,
        times the event's weight); 0 where the event is before the visit.
    hours : (o,) array
        A visit takes, without driving.
    most_visits : (o,) array of int
        Of an organ in the round.
    allowed : (o, w, t) array of bool
        Who may go when: the organ's own dates, its tuners, days on which nobody travels.
    capacity_hours : (w, t) array
        Work and driving that a tuner has in a week.
    town : (o,) array of int
        Where each organ is.
    driving_hours : (t, p) array
        From the tuner's home to the town and back.
    key_holder : (o,) array of int
        Whose hours a visit takes; -1: nobody's.
    key_holder_hours : (k, w) array
        That a key holder has in a week.
    """

    benefit: tuple[FloatArray, ...]
    hours: FloatArray
    most_visits: np.ndarray[tuple[int], np.dtype[np.int64]]
    allowed: BoolArray
    capacity_hours: FloatArray
    town: np.ndarray[tuple[int], np.dtype[np.int64]]
    driving_hours: FloatArray
    key_holder: np.ndarray[tuple[int], np.dtype[np.int64]]
    key_holder_hours: FloatArray

    @property
    def shape(self) -> tuple[int, int, int]:
        """Organs, weeks, tuners."""
        organs, weeks, tuners = self.allowed.shape
        return organs, weeks, tuners


@dataclass(frozen=True, slots=True, order=True)
class Stop:
    """One visit of the round: which organ, in which week, by which tuner (all from 0)."""

    organ: int
    week: int
    tuner: int


@dataclass(frozen=True, slots=True)
class Prices:
    """What counts besides readiness, in units of an event made ready.

    Attributes
    ----------
    driving_hour : float
        Of an hour on the road.
    moved_visit : float
        Of a visit that the round before had elsewhere: another week or tuner, or dropped.
    """

    driving_hour: float = 0.02  # chosen: fifty hours on the road for one event made ready
    moved_visit: float = 0.1  # chosen: a tenth of an event made ready


@dataclass(frozen=True, slots=True)
class Round:
    """The visits chosen.

    Attributes
    ----------
    stops : tuple of Stop
        Sorted by organ and week.
    benefit : float
        Readiness gained over all events, times their weights.
    driving_hours : float
    moved : int
        Visits of the round before that are not in this one as they were.
    worth : float
        Benefit less the price of driving and of moving.
    bound : float
        No round is worth more.
    """

    stops: tuple[Stop, ...]
    benefit: float
    driving_hours: float
    moved: int
    worth: float
    bound: float = field(default=float("inf"))

    @property
    def gap(self) -> float:
        """Share of the bound that may be missing."""
        return 0.0 if self.bound <= 0.0 else max(0.0, 1.0 - self.worth / self.bound)
