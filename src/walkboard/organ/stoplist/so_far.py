"""What has been read of a stop list so far."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from walkboard.organ.stoplist.context import Context
from walkboard.organ.stoplist.entries import DivisionEntry, Row
from walkboard.organ.stoplist.keys import Compass

# Used if the list gives no compass. Common practice, no source.
USUAL_MANUAL, USUAL_PEDAL = 56, 30


@dataclass(slots=True)
class SoFar:
    """What has been read so far."""

    division: DivisionEntry | None = None
    divisions: dict[str, DivisionEntry] = field(default_factory=dict)
    languages: Counter[str] = field(default_factory=Counter)
    rows: list[Row] = field(default_factory=list)
    counted: Mapping[str, int] = field(default_factory=dict)
    given: dict[bool, Compass] = field(default_factory=dict)  # for all manuals, for the pedal

    def context(self) -> Context:
        """What the next line needs to know."""
        own = self.division
        return Context(
            "" if own is None else own.id,
            own is not None and own.is_pedal,
            USUAL_MANUAL if own is None else own.keys,
            self.languages,
            tuple((d.id, d.is_pedal) for d in self.divisions.values()),
        )
