"""Checks the shape of a description, table by table, and keeps the valid part for further checks.

One wrong field must not hide problems elsewhere. So each table is kept as a `Row`: its valid
fields, harmless placeholders for wrong or missing ones, and a list of these. Later checks ask the
row first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from pydantic import ValidationError

from walkboard.organ.description import (
    NAMED,
    OWN,
    ChestTable,
    CouplerTable,
    Description,
    DivisionTable,
    OrganTable,
    PitchTable,
    PlaysTable,
    StopTable,
    TemperamentTable,
    ToyTable,
    TravelTable,
    TremulantTable,
)
from walkboard.organ.fields import Table
from walkboard.organ.findings import Findings
from walkboard.organ.nearest import likeliest
from walkboard.organ.positions import Path
from walkboard.organ.rank_tables import (
    BreakTable,
    CelesteTable,
    ChangeTable,
    FrontTable,
    PartTable,
    RankTable,
)
from walkboard.organ.wording import Slip, inner_table, unknown_field, wording

T = TypeVar("T", bound=Table)

_UNION_TAGS = {NAMED, OWN, "[key]"}

# Placeholder for a required field that is wrong or missing; never used.
_FILLING: Mapping[type[Table], Mapping[str, object]] = {
    PitchTable: {"a4_hz": 440.0, "at_celsius": 20.0},
    TemperamentTable: {"fifths": {}},
    DivisionTable: {"id": "-", "name": "-", "keys": 1},
    ChestTable: {"id": "-", "division": "-"},
    TravelTable: {"from": "-", "to": "-", "minutes": 0.0},
    BreakTable: {"from": "C2"},
    RankTable: {
        "id": "-",
        "division": "-",
        "name": "-",
        "family": "open",
        "pipes": 1,
        "tuned_by": "slide",
    },
    PlaysTable: {"rank": "-"},
    PartTable: {"from": "C2", "family": "open", "tuned_by": "slide"},
    CelesteTable: {},
    FrontTable: {"from": "C2", "to": "C2"},
    ChangeTable: {"year": 2000, "what": "revoiced"},
    CouplerTable: {"id": "-", "name": "-", "from": "-", "to": "-"},
    TremulantTable: {"id": "-", "name": "-", "divisions": ["-"]},
    ToyTable: {"id": "-", "name": "-"},
    OrganTable: {"id": "-", "name": "-"},
    StopTable: {"id": "-", "name": "-", "division": "-", "plays": [{"rank": "-"}]},
}


@dataclass(frozen=True, slots=True)
class Row(Generic[T]):
    """One table of the description, as far as it is valid.

    Attributes
    ----------
    path : Path
    table : Table
        Its fields; those in `unsure` hold a placeholder.
    given : frozenset of str
        Fields present in the file, spelled as there.
    unsure : frozenset of str
        Fields that are wrong or missing, and those likely meant by unknown ones.
    unknown : frozenset of str
        Fields in the file that the format does not have.
    """

    path: Path
    table: T
    given: frozenset[str]
    unsure: frozenset[str]
    unknown: frozenset[str] = frozenset()

    def has(self, *fields: str) -> bool:
        """Whether all these fields are valid: correctly given or correctly left out."""
        return self.unsure.isdisjoint(fields)


@dataclass(slots=True)
class Draft:
    """A description table by table, as far as it is valid.

    Attributes
    ----------
    raw : dict
        The values from ``tomllib``.
    whole : Description or None
        The whole description, if its shape is valid.
    unsure : set of Path
        Every place whose shape is wrong.
    """

    raw: dict[str, Any]
    whole: Description | None
    unsure: set[Path] = field(default_factory=set)

    def rows(self, model: type[T], *path: str | int) -> list[Row[T]]:
        """The rows of a list of tables; empty if the list itself is wrong."""
        value = self._value(path)
        if path in self.unsure or not isinstance(value, list):
            return []
        rows = (self.row(model, *path, number) for number in range(len(value)))
        return [row for row in rows if row is not None]

    def row(self, model: type[T], *path: str | int) -> Row[T] | None:
        """The row of one table; None if it is not a table."""
        raw = self._value(path)
        if path in self.unsure or not isinstance(raw, dict):
            return None
        fields = [info.alias or name for name, info in model.model_fields.items()]
        unsure = {str(p[-1]) for p in self.unsure if p[:-1] == path}
        unknown = frozenset(raw).difference(fields)
        unsure |= {likeliest(name, fields) or name for name in unknown}
        unsure |= {name for name in raw if self._is_broken(model, (*path, name))}
        kept = {
            name: self._cleaned(value, (*path, name))
            for name, value in raw.items()
            if name not in unsure and not _is_rows(value)
        }
        emptied = {name for name, value in kept.items() if value == {} and raw[name]}
        unsure |= emptied  # nothing in it was valid
        kept = {name: value for name, value in kept.items() if name not in emptied}
        table = model.model_validate({**_FILLING[model], **kept})
        return Row(path, table, frozenset(raw), frozenset(unsure), unknown)

    def is_complete(self, kind: str) -> bool:
        """Whether all tables of a kind have valid ids, so that an unknown id is a mistake."""
        return not any(
            path[0] == kind and (len(path) < 3 or path[2:] == ("id",)) for path in self.unsure
        )

    def _is_broken(self, model: type[Table], path: Path) -> bool:
        """Whether something within a list of words, or within a table of fixed fields, is wrong."""
        value = self._value(path)
        if isinstance(value, dict) and inner_table(model, str(path[-1])) is None:
            return False  # a table with free keys: its wrong entries are dropped individually
        if not isinstance(value, dict | list) or _is_rows(value):
            return False
        return any(p[: len(path)] == path for p in self.unsure)

    def _value(self, path: Path) -> Any:
        value: Any = self.raw
        for part in path:
            if isinstance(value, list) or (isinstance(value, dict) and part in value):
                value = value[part]  # type: ignore[index]
            else:
                return None
        return value

    def _cleaned(self, value: object, path: Path) -> object:
        """A value without its wrong entries."""
        if not isinstance(value, dict):
            return value
        return {k: v for k, v in value.items() if (*path, k) not in self.unsure}


def _is_rows(value: object) -> bool:
    """Whether a value is a list of tables, which are separate rows."""
    return isinstance(value, list) and any(isinstance(one, dict) for one in value)


def check_shape(raw: dict[str, Any], findings: Findings) -> Draft:
    """Check each field on its own, and keep the valid ones."""
    try:
        return Draft(raw, Description.model_validate(raw))
    except ValidationError as error:
        slips = _slips(error)
    draft = Draft(raw, None, set(slips))
    guessed = set()
    for path, slip in slips.items():
        if slip.kind == "unknown":
            missing = [p for p, s in slips.items() if s.kind == "missing" and p[:-1] == path[:-1]]
            what, fix, meant = unknown_field(slip, [str(p[-1]) for p in missing])
            findings.note(path, what, fix)
            if meant is not None:
                guessed.add((*path[:-1], meant))
    for path, slip in slips.items():
        if slip.kind != "unknown" and path not in guessed:
            findings.note(path, *wording(slip))
    return draft


def _slips(error: ValidationError) -> dict[Path, Slip]:
    """What pydantic found, by path; the first of several at one place."""
    slips: dict[Path, Slip] = {}
    for found in error.errors(include_url=False):
        path = tuple(part for part in found["loc"] if part not in _UNION_TAGS)
        slips.setdefault(path, Slip.of(path, found))
    # a wrong table is a single slip, whatever is missing in it
    return {
        path: slip
        for path, slip in slips.items()
        if not any(path[:n] in slips for n in range(1, len(path)))
    }
