"""Whether a rank's partials fit its stated family.

A stopped pipe has hardly any even partials; a reed has many strong ones. An open flue is between
them and may pass for either, so only clear contradictions count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.listening.types import Partial
from walkboard.organ.model import Family

_STOPPED_EVENS_DB = -16.0  # over the odds; higher is no stopped pipe: clean and real ones ≤ −18
_OPEN_EVENS_DB = -30.0  # lower is no open pipe
_STOPPED_UPPER_DB = -12.0  # a stopped pipe's evens over its third and fifth partials. Chosen
_WITHIN_DB = 25.0
_REED_SHARE = 0.3  # share of the first twelve partials within 25 dB of the loudest; reeds ≥ 0.5
_FLUTE_SHARE = 0.75  # the same; higher is no stopped flue
_FIRST = 12
_LEAST_HOLDS = 6
_HIGHEST_HZ = 7_000.0


@dataclass(frozen=True, slots=True)
class Timbre:
    """The partials of a rank along the keys, as medians.

    Attributes
    ----------
    evens_db : float
        Partials 2 and 4 over 1 and 3.
    upper_db : float
        Partials 2 and 4 over 3 and 5.
    rich : float
        Share of the first twelve partials below 7 kHz that are within 25 dB of the loudest.
    holds : int
    """

    evens_db: float
    upper_db: float
    rich: float
    holds: int

    def contradicts(self, family: Family) -> bool:
        """Whether no rank of that family sounds like this."""
        if self.holds < _LEAST_HOLDS:
            return False
        match family:
            case Family.STOPPED:
                return self.evens_db > _STOPPED_EVENS_DB or self.rich > _FLUTE_SHARE
            case Family.CHIMNEY:
                return self.rich > _FLUTE_SHARE
            case Family.OPEN:
                # A dull flute also has hardly any second partial, but even less of a third.
                return self.evens_db < _OPEN_EVENS_DB and self.upper_db < _STOPPED_UPPER_DB
            case Family.REED:
                return self.rich < _REED_SHARE


def timbre_of(heard: Sequence[tuple[float, Sequence[Partial]]]) -> Timbre | None:
    """Timbre of a rank, from each pipe's fundamental [Hz] and its partials' levels."""
    evens, upper, rich = [], [], []
    for hz, partials in heard:
        level = {p.number: p.level_db for p in partials}
        top = max(level.values(), default=None)
        able = min(_FIRST, int(_HIGHEST_HZ / hz))
        if top is None or able < 4:
            continue
        floor = top - 60.0

        def power(*numbers: int, of: dict[int, float] = level, least: float = floor) -> float:
            return float(sum(10.0 ** (of.get(n, least) / 10.0) for n in numbers))

        evens.append(10.0 * np.log10(power(2, 4) / power(1, 3)))
        upper.append(10.0 * np.log10(power(2, 4) / power(3, 5)))
        near = sum(level.get(n, floor) > top - _WITHIN_DB for n in range(1, able + 1))
        rich.append(near / able)
    if not evens:
        return None
    return Timbre(
        float(np.median(evens)), float(np.median(upper)), float(np.median(rich)), len(evens)
    )
