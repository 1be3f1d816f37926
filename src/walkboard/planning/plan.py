"""A plan: what to tune, in which order, to which pitch, and how close to the best it is."""

from __future__ import annotations

from dataclasses import dataclass

from walkboard.organ.model import PipeRef


@dataclass(frozen=True, slots=True)
class Reference:
    """The pitch one division is tuned to.

    Attributes
    ----------
    division : str
    shift_cents : float
        Shift of the division's targets against the organ's own pitch at `air_celsius` [cents].
    air_celsius : float
        The air of the flues' targets [°C].
    event_celsius : float or None
        Its air at the event, which the reeds are set for [°C]; None if not given.
    """

    division: str
    shift_cents: float
    air_celsius: float
    event_celsius: float | None = None


@dataclass(frozen=True, slots=True)
class PlanItem:
    """One pipe to tune.

    Attributes
    ----------
    order : int
        From 1.
    pipe : PipeRef
    cents : float
        Its deviation from `target_hz` [cents], + is sharp.
    target_hz : float
        Where to leave it, today.
    move : str
        ``sharper`` or ``flatter``.
    minutes : float
        Time for the pipe itself [min].
    why : str
        One phrase for the tuner.
    gain : float
        Badness removed by tuning it.
    """

    order: int
    pipe: PipeRef
    cents: float
    target_hz: float
    move: str
    minutes: float
    why: str
    gain: float = 0.0


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """The least cost left after a number of minutes."""

    minutes: float
    cost: float


@dataclass(frozen=True, slots=True)
class Plan:
    """The worklist of a visit, with its proof of quality.

    Attributes
    ----------
    minutes : float
        Minutes available [min].
    reference : tuple of Reference
    items : tuple of PlanItem
        In working order.
    cost_before, cost_after, cost_bound : float
        Audible badness (see `planning.value.cost`) before, after, and a proven lower bound for
        the same minutes and demands; where strays come first, for tuning the same strays.
    minutes_used : float
        Including reaching ranks and opening panels [min].
    curve : tuple of CurvePoint
    walk_minutes, walk_bound_minutes : float
        Walking time through the case [min], and a proven bound: no order of the same ranks that
        tunes the reference first, mixtures after principals, and reeds last walks less than that
        and has no worse air at its reeds.
    notes : tuple of str
        Requests that cannot be met.
    """

    minutes: float
    reference: tuple[Reference, ...]
    items: tuple[PlanItem, ...]
    cost_before: float
    cost_after: float
    cost_bound: float
    minutes_used: float
    curve: tuple[CurvePoint, ...]
    walk_minutes: float = 0.0
    walk_bound_minutes: float = 0.0
    notes: tuple[str, ...] = ()

    @property
    def gap(self) -> float:
        """(cost_after − cost_bound) / cost_before, 0 if there was no cost."""
        return (self.cost_after - self.cost_bound) / self.cost_before if self.cost_before else 0.0
