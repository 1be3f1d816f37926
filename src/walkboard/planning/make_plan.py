"""The plan of a visit: which pipes, at which pitch, in which order, with its certificate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from walkboard.condition.state import Condition, PipeCents
from walkboard.organ.model import Organ
from walkboard.planning.air_course import AirCourse
from walkboard.planning.choose.curve import EVERY_MINUTES
from walkboard.planning.choose.demands import Demands
from walkboard.planning.plan import Plan
from walkboard.planning.request import PlanRequest
from walkboard.planning.value.belief import PipeForecast
from walkboard.planning.value.use import EventUse
from walkboard.planning.value.weight import WeightChange
from walkboard.planning.what_if import prepare


def make_plan(
    organ: Organ,
    condition: Condition,
    pipes: Sequence[PipeCents],
    minutes: float,
    *,
    event_air_celsius: float | Mapping[str, float] | None = None,
    curve_every_minutes: float = EVERY_MINUTES,
    use: EventUse | None = None,
    demands: Demands | None = None,
    forecasts: Sequence[PipeForecast] = (),
    changes: Sequence[WeightChange] = (),
    air: Mapping[str, AirCourse] | None = None,
) -> Plan:
    """Worklist that leaves the least audible badness in the minutes there are.

    Parameters
    ----------
    organ : Organ
    condition : Condition
        From `walkboard.condition.assess.assess`, of the same readings; brings the thermometers.
    pipes : sequence of PipeCents
        Where pipes stand; of several readings of one pipe the surest counts. Pipes that were
        neither heard nor forecast are not planned.
    minutes : float
        That there are for tuning, walking and set-ups included.
    event_air_celsius : float, mapping of division id to float, optional
        Air at the event [°C], the same everywhere or by division. Reeds are then set to where the
        flues will stand; without it, to where they stand today.
    curve_every_minutes : float
    use : EventUse, optional
        The registrations and keys that the event exposes.
    demands : Demands, optional
        What must be done, and what must not.
    forecasts : sequence of PipeForecast
        Of pipes that were not heard.
    changes : sequence of WeightChange
        What the tuner changed of the weights.
    air : mapping of division id to AirCourse, optional
        The air's course during the visit.

    Returns
    -------
    Plan
        The choice of pipes and reference is proved optimal on a grid of 0.1 cent within ±8 cents of
        where the organ stands, for the minutes that its own walks and set-ups take; `Plan.gap` says
        what is not proved.

    Raises
    ------
    InputError
        When there is no pipe, when the minutes are negative, when the event's air is none, or when
        a demand cannot be.
    NotEnoughMinutesError
        When what must be done does not fit; it says how many minutes are missing.
    """
    prepared = prepare(organ, condition, pipes, forecasts=forecasts, changes=changes, air=air)
    return prepared.plan(
        PlanRequest(
            minutes=minutes,
            event_air_celsius=event_air_celsius,
            use=use or EventUse(),
            demands=demands or Demands(),
            curve_every_minutes=curve_every_minutes,
            prove_order=True,
        )
    )
