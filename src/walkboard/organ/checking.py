"""Checks what one table of a description says about another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.building import build_division
from walkboard.organ.checking_console import (
    check_console,
    check_links_between_ranks,
    check_organs,
    check_temperament_name,
)
from walkboard.organ.checking_ranks import HIGHEST_KEY, check_ranks
from walkboard.organ.checking_stops import check_stops
from walkboard.organ.description import (
    ChestTable,
    CouplerTable,
    DivisionTable,
    OrganTable,
    StopTable,
    TemperamentTable,
    ToyTable,
    TravelTable,
    TremulantTable,
)
from walkboard.organ.findings import Findings
from walkboard.organ.keyboards import keyboard
from walkboard.organ.model import Division
from walkboard.organ.nearest import did_you_mean
from walkboard.organ.positions import Path
from walkboard.organ.rank_tables import RankTable
from walkboard.organ.shape import Draft, Row
from walkboard.quantities import PYTHAGOREAN_COMMA_CENTS
from walkboard.scales.keys import Key
from walkboard.scales.temperament import from_fifths


def check_description(draft: Draft, findings: Findings) -> None:
    """Note everything wrong between the tables of a description."""
    divisions = draft.rows(DivisionTable, "division")
    chests = draft.rows(ChestTable, "chest")
    ranks = draft.rows(RankTable, "rank")
    stops = draft.rows(StopTable, "stop")
    tables: tuple[Sequence[Row[Any]], ...] = (divisions, chests, ranks, stops)
    for rows in tables:
        check_doubles(rows, findings)
    check_doubles(draft.rows(CouplerTable, "coupler"), findings)
    check_doubles(draft.rows(TremulantTable, "tremulant"), findings)
    check_doubles(draft.rows(ToyTable, "toy"), findings)
    check_doubles(draft.rows(OrganTable, "organ"), findings)
    check_organs(draft, findings)
    _check_temperament(draft, findings)
    built = _check_divisions(divisions, findings)
    known_divisions = {row.table.id for row in divisions if row.has("id")}
    if draft.is_complete("division"):
        for rows in tables[1:]:
            for row in rows:
                _check_division_of(row, known_divisions, findings)
    chest_divisions = _check_chests(chests, known_divisions, findings)
    _check_travel(draft, chest_divisions, findings)
    spans = check_ranks(draft, ranks, built, chest_divisions, findings)
    check_stops(draft, stops, built, spans, findings)
    check_links_between_ranks(draft, spans, findings)
    check_console(draft, known_divisions, spans, findings)


def check_doubles(rows: Iterable[Row[Any]], findings: Findings) -> None:
    """Note each id given to more than one table of a kind."""
    seen: set[str] = set()
    for row in rows:
        if not row.has("id"):
            continue
        if row.table.id in seen:
            findings.note(
                (*row.path, "id"),
                f"there is another {row.path[0]} {row.table.id}.",
                "Give each an id of its own.",
            )
        seen.add(row.table.id)


def _check_temperament(draft: Draft, findings: Findings) -> None:
    given = draft.raw.get("temperament")
    if isinstance(given, str):
        check_temperament_name(("temperament",), given, findings)
        return
    row = draft.row(TemperamentTable, "temperament")
    if row is not None and row.has("fifths"):
        whole = not any(path[:2] == ("temperament", "fifths") for path in draft.unsure)
        _check_fifths(row.table.fifths, findings, whole=whole)


def _check_fifths(fifths: Mapping[str, float], findings: Findings, *, whole: bool) -> None:
    """Note misspelled and repeated fifths and, if all are right, a circle that does not close."""
    path = ("temperament", "fifths")
    seen: dict[tuple[float, ...], str] = {}
    sound = whole
    for spelling in fifths:
        # the whole comma on one fifth closes the circle, so the spelling is wrong
        try:
            alone = from_fifths("one", {spelling: -PYTHAGOREAN_COMMA_CENTS}).cents_above_c
        except InputError as error:
            findings.note((*path, spelling), error.what, error.fix)
            sound = False
            continue
        if alone in seen:
            findings.note(
                (*path, spelling),
                f"this fifth is already given, as {seen[alone]}.",
                "Name each fifth once; A#-F is Bb-F.",
            )
            sound = False
        seen[alone] = spelling
    if sound:
        try:
            from_fifths("own", fifths)
        except InputError as error:
            findings.note(path, error.what, error.fix)


def _check_divisions(rows: Iterable[Row[DivisionTable]], findings: Findings) -> dict[str, Division]:
    """The divisions with a valid compass, by id."""
    built: dict[str, Division] = {}
    for row in rows:
        if not row.has("keys", "lowest", "octave", "missing", "split"):
            continue
        if not _are_keys(row, findings):
            continue
        lowest = Key.parse(row.table.lowest)
        if len(keyboard(lowest, row.table)) < row.table.keys:
            findings.note(
                (*row.path, "keys"),
                f"{row.table.keys} keys from {lowest} go past {HIGHEST_KEY}, the highest possible.",
                f"Write at most {len(keyboard(lowest, row.table))}.",
            )
        elif row.has("id"):
            built.setdefault(row.table.id, build_division(row.table))
    return built


def _are_keys(row: Row[DivisionTable], findings: Findings) -> bool:
    """Whether the keys that a division names are on a keyboard; notes those that are not."""
    table = row.table
    named: list[tuple[Path, str]] = [(("lowest",), table.lowest)]
    named += [(("missing", n), name) for n, name in enumerate(table.missing)]
    named += [(("split", n), name) for n, name in enumerate(table.split) if name[-1].isdigit()]
    right = True
    for place, name in named:
        try:
            Key.parse(name)
        except UnknownNameError as error:
            findings.note((*row.path, *place), error.what, error.fix)
            right = False
    return right


def _check_division_of(row: Row[Any], there_are: set[str], findings: Findings) -> None:
    if row.has("division") and row.table.division not in there_are:
        findings.note(
            (*row.path, "division"),
            f"there is no division {row.table.division}.",
            did_you_mean(row.table.division, there_are, "division"),
        )


def _check_chests(
    rows: Iterable[Row[ChestTable]], divisions: set[str], findings: Findings
) -> dict[str, str | None]:
    """Division by chest, including each division's own default chest; None: not known."""
    found: dict[str, str | None] = {division: division for division in divisions}
    for row in rows:
        if not row.has("id"):
            continue
        id_, division = row.table.id, row.table.division
        if not row.has("division") or division not in divisions:
            found.setdefault(id_, None)
        elif id_ in divisions and id_ != division:
            findings.note(
                (*row.path, "id"),
                f"{id_} is already the chest of the division {id_}.",
                "Give it another id.",
            )
        else:
            found[id_] = division
    return found


def _check_travel(draft: Draft, chests: Mapping[str, str | None], findings: Findings) -> None:
    complete = draft.is_complete("chest") and draft.is_complete("division")
    seen: set[frozenset[str]] = set()
    for row in draft.rows(TravelTable, "travel"):
        ends = {"from": row.table.from_chest, "to": row.table.to_chest}
        unknown = False
        for name, chest in ends.items():
            if complete and row.has(name) and chest not in chests:
                unknown = True
                findings.note(
                    (*row.path, name),
                    f"there is no chest {chest}.",
                    did_you_mean(chest, chests, "chest"),
                )
        if unknown or not row.has("from", "to"):
            continue
        pair = frozenset(ends.values())
        if len(pair) == 1:
            findings.note(
                (*row.path, "to"), "it leads back to the same chest.", "Name another chest."
            )
        elif pair in seen:
            findings.note(
                row.path,
                f"the way between {' and '.join(ends.values())} is given twice.",
                "Give each way once: it holds in both directions.",
            )
        seen.add(pair)
