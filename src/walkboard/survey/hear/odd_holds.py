"""Single holds that cannot be trusted: a second key, a cipher beside a partial, lost samples."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.listening.evidence.drones import Drone
from walkboard.listening.readings import Measured
from walkboard.listening.types import ReadingFlag
from walkboard.survey.hear.heard_walk import Hold
from walkboard.survey.recognise.companions import series_in
from walkboard.survey.recognise.evidence import Evidence
from walkboard.survey.recognise.limits import LIMITS as RECOGNITION


@dataclass(frozen=True, slots=True)
class Limits:
    """When a hold has more than one key. *Fitted*: by bench situations."""

    second_key_lines: int = 5  # unexplained lines, if several ranks are stated; fitted
    plain_below_db: float = 10.0  # below the loudest line, if one of another key is enough; fitted
    key_below_db: float = 30.0  # below the loudest line: range of a second key's first; chosen
    highest_hz: float = 6_500.0  # highest partial of a second key that counts; chosen
    own_below_db: float = 45.0  # below the loudest line: range of measured partials; chosen
    cipher_reach_hz: float = 30.0  # half width of a partial's band; derived: 1/0.04 s, rounded
    cipher_below_db: float = 30.0  # below the partial: range in which a cipher disturbs it; chosen
    cipher_partials: int = 12  # lowest partials that a cipher may disturb; chosen
    beats_db: float = 3.0  # of loudness that one pipe keeps; fitted by bench situations
    jumped_cents: float = 0.6  # of wander within one hold, which no pipe of a calm walk has; chosen
    jumped_times: float = 6.0  # that over the walk's usual wander; chosen
    jumped_from_hz: float = 150.0  # lower pipes' wander is not known well enough; chosen
    least_holds: int = 6  # that show what is usual in a walk; chosen


LIMITS = Limits()


def odd_holds(
    holds: Sequence[Hold],
    evidence: Sequence[Evidence],
    due: Sequence[Sequence[float]],
) -> dict[int, ReadingFlag]:
    """Holds in which a second key sounds, or whose partials beat or are not one pipe's."""
    by_start = {hold.start_s: hold.n for hold in holds}
    odd: dict[int, ReadingFlag] = {}
    for one in evidence:
        number = by_start.get(one.start_s)
        if number is None:
            continue
        beats = one.unrest_db is not None and max(one.unrest_db) > LIMITS.beats_db
        if beats or one.disagrees is not None or _second_key(one, due):
            odd[number] = ReadingFlag.OTHER
    return odd


def _second_key(one: Evidence, due: Sequence[Sequence[float]]) -> bool:
    """Whether the unexplained lines belong to another key of the walked stops."""
    if len(one.left) < 2:
        return False
    needed = LIMITS.second_key_lines if len(one.stated_hz) > 1 else RECOGNITION.least_lines
    hz = one.lines.hz[one.left]
    loud = one.lines.level_db[one.left]
    for key, combs in enumerate(due):
        if key == one.key or not combs:
            continue
        base = combs[0]
        # The fundamental or the second partial must be present and loud before more is tried.
        first = np.abs(1731.0 * (hz / base - 1.0)) < RECOGNITION.reach_cents
        near = first | (np.abs(1731.0 * (hz / (2.0 * base) - 1.0)) < RECOGNITION.reach_cents)
        loudest_db = one.lines.level_db.max()
        if not near.any() or loud[near].max() < loudest_db - LIMITS.key_below_db:
            continue
        plain = len(one.stated_hz) == 1 and first.any()
        if plain and loud[first].max() > loudest_db - LIMITS.plain_below_db:
            return True
        series = series_in(one, base)
        able = min(needed, max(1, int(LIMITS.highest_hz / base)))
        if series is not None and len(series.numbers) >= min(able, 2 if able < 3 else able):
            return True
    return False


def jumped_holds(holds: Sequence[Hold]) -> dict[int, ReadingFlag]:
    """Holds in which the pitch moves far more than in the rest of a walk of one rank.

    As where the recorder dropped samples and too few partials were loud enough to show it.
    """
    wander = {
        hold.n: reading.wander_cents
        for hold in holds
        for reading in hold.readings
        if len(hold.readings) == 1
        and isinstance(reading, Measured)
        and reading.hz > LIMITS.jumped_from_hz
        and reading.wander_cents is not None
        and ReadingFlag.GAP not in reading.flags
    }
    if len(wander) < LIMITS.least_holds:
        return {}
    usual = float(np.median(list(wander.values())))
    most = max(LIMITS.jumped_cents, LIMITS.jumped_times * usual)
    return {n: ReadingFlag.UNSTEADY for n, cents in wander.items() if cents > most}


def beside_ciphers(
    holds: Sequence[Hold], evidence: Sequence[Evidence], drones: Sequence[Drone]
) -> dict[int, ReadingFlag]:
    """Holds with a partial whose band contains a cipher's line."""
    by_start = {hold.start_s: hold.n for hold in holds}
    found: dict[int, ReadingFlag] = {}
    for drone in drones:
        places = np.array(drone.lines_hz)
        levels = np.array(drone.level_db)
        for one in evidence:
            number = by_start.get(one.start_s)
            if number is None or one.end_s < drone.start_s or one.start_s > drone.end_s:
                continue
            own = one.explained & (
                one.lines.level_db > one.lines.level_db.max() - LIMITS.own_below_db
            )
            near = np.abs(one.lines.hz[own][:, np.newaxis] - places) < LIMITS.cipher_reach_hz
            loud = levels > one.lines.level_db[own][:, np.newaxis] - LIMITS.cipher_below_db
            stated = [hz for hz in one.stated_hz if hz is not None]
            first = np.zeros(int(own.sum()), bool)
            for hz in stated:
                first |= one.lines.hz[own] < (LIMITS.cipher_partials + 0.5) * hz
            if (near & loud & first[:, np.newaxis]).any():
                found[number] = ReadingFlag.OTHER
    return found
