"""A plan, the ticks of its worklist, and how touched pipes settled."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from walkboard.organ.model import PipeRef
from walkboard.planning.plan import Plan, PlanItem


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A plan for a visit; a new plan replaces the last.

    Attributes
    ----------
    outdated_at : datetime or None
        When a recording it may be based on was relabelled or withdrawn; None if none was.
    organ_version : int or None
        Version of the description it was made with; None in books from before 0.2.0, where it was
        the visit's.
    purpose : str or None
        What the organ mostly does, as it was made for; None in books from before 0.3.0.
    """

    id: int
    visit_id: int
    plan: Plan
    event_air_celsius: float | None
    made_at: datetime
    superseded_by: int | None = None
    outdated_at: datetime | None = None
    organ_version: int | None = None
    purpose: str | None = None


class TickState(StrEnum):
    """What a tick says of its pipe."""

    DONE = "done"
    SKIPPED = "skipped"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Tick:
    """One pipe of the worklist done, skipped or reopened; the last tick counts.

    Attributes
    ----------
    uid : str
        Chosen by the device that ticks, so that a tick sent twice is stored once.
    state : str
        ``done``, ``skipped`` or ``open``.
    at : datetime
        When it was made, by the clock of that device.
    device : str
        Who ticked, if that matters.
    received_at : datetime or None
        When the book got it; left out when ticks are compared.
    """

    uid: str
    visit_id: int
    pipe: PipeRef
    state: str
    note: str
    at: datetime
    device: str = ""
    received_at: datetime | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class KeptSettling:
    """How a pipe settled after being touched.

    Attributes
    ----------
    visit_id : int
    pipe : PipeRef
    tuned_by : str
        What was moved, one of `organ.model.TunedBy`.
    log_tau, log_tau_sigma : float
        ln(τ/s) of its cooling, with one standard deviation.
    offset_cents, offset_sigma_cents : float
        How far above its settled pitch the hand left it, with one standard deviation [cents].
    heard_at : datetime
        When it was called done.
    """

    visit_id: int
    pipe: PipeRef
    tuned_by: str
    log_tau: float
    log_tau_sigma: float
    offset_cents: float
    offset_sigma_cents: float
    heard_at: datetime


@dataclass(frozen=True, slots=True)
class WorklistLine:
    """One line of the worklist with the tick that counts; `tick` is None if there is none."""

    item: PlanItem
    tick: Tick | None

    @property
    def state(self) -> TickState:
        """``open`` until ticked otherwise."""
        return TickState.OPEN if self.tick is None else TickState(self.tick.state)
