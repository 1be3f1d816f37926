"""Whether a stated pipe is heard in a hold, even if its pitch is too uncertain to be given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from walkboard.listening.readings import Measured
from walkboard.organ.model import Organ
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio
from walkboard.survey.hear.heard_walk import Hold, Reading
from walkboard.survey.hear.unison_pairs import either_of


@dataclass(frozen=True, slots=True)
class Limits:
    """When a partial shows that its pipe sounds."""

    apart_cents: float = 50.0  # nearer, a partial may be the other pipe's; chosen: a quarter tone
    below_db: float = 20.0  # the loudest partial of the hold; fainter may be noise or hum; chosen


LIMITS = Limits()


def heard_of(
    organ: Organ, air_celsius: float | None, holds: Sequence[Hold]
) -> list[list[tuple[str, bool]]]:
    """For every hold, the ranks that are due in it, and whether each is heard."""
    found = []
    for hold in holds:
        due = [target_hz(organ, reading.pipe, air_celsius) for reading in hold.readings]
        heard = [(r.pipe.rank, is_heard(r, hold.readings, due)) for r in hold.readings]
        found.append(heard)
    return found


def is_heard(reading: Reading, beside: Sequence[Reading], due_hz: Sequence[float]) -> bool:
    """Whether a pipe has a value, or a clear partial that no other pipe of the hold has.

    Parameters
    ----------
    reading : Reading
    beside : sequence of Reading
        Every reading of the hold.
    due_hz : sequence of float
        Where each of their pipes is expected, in the same order.
    """
    if isinstance(reading, Measured) or either_of(reading) is not None:
        return True
    loudest_db = max((p.level_db for one in beside for p in one.partials), default=0.0)
    own_hz = next(hz for one, hz in zip(beside, due_hz, strict=True) if one is reading)
    others = [hz for one, hz in zip(beside, due_hz, strict=True) if one is not reading]
    return any(
        partial.level_db > loudest_db - LIMITS.below_db
        and all(_apart(partial.number * own_hz, other) for other in others)
        for partial in reading.partials
    )


def _apart(hz: float, other_hz: float) -> bool:
    """Whether a frequency is not near a partial of another pipe."""
    number = max(1, round(hz / other_hz))
    return abs(cents_of_ratio(hz / (number * other_hz))) > LIMITS.apart_cents
