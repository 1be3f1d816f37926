"""The request for a plan, used by command line, pages and demo."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.planning.choose.demands import Demands
from walkboard.planning.value.ordinary import Purpose
from walkboard.planning.value.use import EventUse, RegistrationUse

LONGEST_MINUTES = 960.0  # two long days; chosen
COLDEST_CELSIUS, HOTTEST_CELSIUS = -20.0, 50.0  # of an event; beyond, °F was meant

EventAir = float | Mapping[str, float] | None


@dataclass(frozen=True, slots=True)
class PlanRequest:
    """A request for a plan.

    Attributes
    ----------
    minutes : float
        Minutes available, walking and set-ups included [min].
    event_air_celsius : float, mapping of division id to float, or None
        Air at the event [°C]; None for today's.
    use : EventUse
        How the event uses the organ; if empty, as usually played.
    demands : Demands
    purpose : Purpose
        What the organ is mostly used for, if no event says.
    coupled : frozenset of str
        Ids of divisions that are played coupled, and so tuned to one pitch.
    curve_every_minutes : float or None
        None for no curve.
    prove_order : bool
        True for a plan to adopt: the way through the case is proved as far as possible.
    """

    minutes: float
    event_air_celsius: EventAir = None
    use: EventUse = field(default_factory=EventUse)
    demands: Demands = field(default_factory=Demands)
    curve_every_minutes: float | None = None
    prove_order: bool = False
    purpose: Purpose = Purpose.HYMNS
    coupled: frozenset[str] = frozenset()

    @property
    def one_event_air_celsius(self) -> float | None:
        """The event's air as one figure: the mean over the divisions that have one [°C]."""
        air = self.event_air_celsius
        if air is None or isinstance(air, float | int):
            return air
        return sum(air.values()) / len(air) if air else None

    def check(self, organ: Organ) -> None:
        """Refuse what is impossible.

        Raises
        ------
        InputError
            When a figure of the request is out of range, or a demand contradicts itself.
        UnknownNameError
            If the organ has no such stop, rank or division.
        """
        if not 0.0 <= self.minutes <= 100_000.0:
            raise InputError(
                f"A visit cannot last {self.minutes:g} minutes.",
                fix="Give the minutes there are, 0 or more.",
            )
        every = self.curve_every_minutes
        if every is not None and not (every > 0.0 and math.isfinite(every)):
            raise InputError(
                f"A curve cannot have a point every {every:g} minutes.",
                fix="Give the minutes from one point to the next, more than 0.",
            )
        given = self.event_air_celsius
        named = given if isinstance(given, Mapping) else ()
        for division in (*named, *self.coupled):
            organ.division(division)
        airs = given.values() if isinstance(given, Mapping) else () if given is None else (given,)
        for air in airs:
            if not COLDEST_CELSIUS <= air <= HOTTEST_CELSIUS:
                raise InputError(
                    f"The event's air cannot be {air:g} °C.",
                    fix="Give °C from -20 to 50; was °F meant?",
                )
        for registration in self.use.registrations:
            for stop in registration.stops:
                organ.stop(stop)
            for seconds in (registration.seconds, *_seconds_of_keys(registration)):
                if not (seconds >= 0.0 and math.isfinite(seconds)):
                    raise InputError(
                        f"A registration cannot sound for {seconds:g} seconds.",
                        where=" ".join(registration.stops),
                        fix="Give the seconds that it and each of its keys sound, 0 or more.",
                    )
        self.demands.check(organ)


def _seconds_of_keys(registration: RegistrationUse) -> list[float]:
    return [seconds for keys in registration.keys.values() for seconds in keys.values()]
