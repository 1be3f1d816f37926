"""Changes single values of a description and leaves the rest of its text unchanged.

Keeps comments, the order of tables and fields, and blank lines: the description is someone's file.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT

from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.nearest import did_you_mean

# Fields that the table of ranks on the page shows, and how their text becomes a value.
NUMBERS = frozenset({"pipes", "keys"})
DECIMALS = frozenset({"beats", "wind_mm", "minutes"})
EDITED = ("name", "family", "feet", "tuned_by", "pipes", "from", "wind_mm")


@dataclass(frozen=True, slots=True)
class CellChange:
    """One value of one table.

    Attributes
    ----------
    table : str
        ``rank`` or ``division``.
    id : str
    field : str
    value : str
        As typed; an empty value removes the field.
    """

    table: str
    id: str
    field: str
    value: str


def edited(text: str, changes: Iterable[CellChange]) -> str:
    """The description with some values changed.

    Parameters
    ----------
    text : str
        The description in TOML.
    changes : iterable of CellChange

    Raises
    ------
    InputError
        If the text is not TOML.
    UnknownNameError
        If no table has that id.
    """
    document = _parsed(text)
    for change in changes:
        table = _table(document, change)
        if change.value.strip():
            table[change.field] = _value(change)
        elif change.field in table:
            del table[change.field]
    return tomlkit.dumps(document)


def rank_cells(text: str) -> list[dict[str, str]]:
    """The ranks of a description for the page's table, in the order of the file.

    Parameters
    ----------
    text : str
        The description in TOML; it may have other faults.

    Raises
    ------
    InputError
        If the text is not TOML.
    """
    ranks = _parsed(text).get("rank", [])
    if not isinstance(ranks, list):
        return []
    return [
        {name: str(rank.get(name, "")) for name in ("id", "division", *EDITED)}
        for rank in ranks
        if isinstance(rank, dict)
    ]


def _parsed(text: str) -> tomlkit.TOMLDocument:
    try:
        return tomlkit.parse(text)
    except (TOMLKitError, ValueError) as error:
        raise InputError(
            f"The text is not TOML: {error}.", fix="Correct the text before you use the table."
        ) from None


def _table(document: tomlkit.TOMLDocument, change: CellChange) -> Any:
    tables = document.get(change.table, [])
    if isinstance(tables, AoT | list):
        for table in tables:
            if isinstance(table, dict) and table.get("id") == change.id:
                return table
    ids = [str(table.get("id", "")) for table in tables if isinstance(table, dict)]
    raise UnknownNameError(
        f"There is no {change.table} {change.id}.", fix=did_you_mean(change.id, ids, change.table)
    )


def _value(change: CellChange) -> str | int | float:
    text = change.value.strip()
    try:
        if change.field in NUMBERS:
            return int(text)
        if change.field in DECIMALS:
            return float(text.replace(",", "."))
    except ValueError:
        return text  # the checker then reports the faults
    return text
