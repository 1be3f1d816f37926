"""Checks ranks: compass, chest, tuning and measures (`checking_pitch` checks their pitch)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from walkboard.errors import UnknownNameError
from walkboard.organ.building_stops import Span
from walkboard.organ.checking_builds import check_builds
from walkboard.organ.checking_pitch import check_pitch
from walkboard.organ.findings import Findings
from walkboard.organ.keyboards import rank_keys
from walkboard.organ.kinds import Family
from walkboard.organ.model import Division
from walkboard.organ.nearest import did_you_mean
from walkboard.organ.positions import Path
from walkboard.organ.rank_tables import RankTable
from walkboard.organ.shape import Draft, Row
from walkboard.scales.keys import Key

HIGHEST_KEY = Key(Key.HIGHEST)  # the end of the numbering of keys


def check_ranks(
    draft: Draft,
    rows: Iterable[Row[RankTable]],
    divisions: Mapping[str, Division],
    chests: Mapping[str, str | None],
    findings: Findings,
) -> dict[str, Span | None]:
    """Note faults in ranks. Return the keys of each by its id, None if they are wrong."""
    spans: dict[str, Span | None] = {}
    for row in rows:
        division = divisions.get(row.table.division) if row.has("division") else None
        span = _span(row, division, findings)
        if row.has("id"):
            spans.setdefault(row.table.id, span)
        _check_chest(draft, row, chests, findings)
        _check_measures(row, findings)
        check_pitch(draft, row, span, findings)
        check_builds(draft, row, span, findings)
    return spans


def _span(row: Row[RankTable], division: Division | None, findings: Findings) -> Span | None:
    """The rank's keys, if they are valid."""
    start = None
    if row.has("from") and row.table.from_key is not None:
        start = key_in_compass((*row.path, "from"), row.table.from_key, division, findings)
    elif row.has("from") and division is not None:
        start = division.lowest
    if start is None or division is None or not row.has("pipes"):
        return None
    if not row.has("missing"):
        return None
    for place, name in enumerate(row.table.missing):
        path = (*row.path, "missing", place)
        key = key_in_compass(path, name, division, findings)
        if key is not None and key not in division.all_keys:
            findings.note(
                path, f"{division.id} has no key {name} anyway.", "Remove it from the list."
            )
    try:
        keys = rank_keys(division.all_keys, start, row.table.pipes, row.table.missing)
    except UnknownNameError:
        return None  # noted above
    if len(keys) < row.table.pipes:
        findings.note(
            (*row.path, "pipes"),
            f"{row.table.pipes} pipes from {start} go past the highest possible key.",
            f"Write at most {len(keys)}, and describe the pipes above as a rank of their own.",
        )
        return None
    return Span(row.table.id, division.id, keys)


def key_in_compass(
    path: Path, name: str, division: Division | None, findings: Findings
) -> Key | None:
    """Key of a name within a division's compass; None, with a note, if it is not in it."""
    try:
        key = Key.parse(name)
    except UnknownNameError as error:
        findings.note(path, error.what, error.fix)
        return None
    if division is not None and not division.lowest <= key <= division.highest:
        findings.note(
            path,
            f"{name} is outside the compass of {division.id}.",
            f"Write a key from {division.lowest} to {division.highest}.",
        )
        return None
    return key


def _check_chest(
    draft: Draft, row: Row[RankTable], chests: Mapping[str, str | None], findings: Findings
) -> None:
    chest = row.table.chest
    if chest is None or not row.has("chest"):
        return
    if chest not in chests:
        if draft.is_complete("chest") and draft.is_complete("division"):
            findings.note(
                (*row.path, "chest"),
                f"there is no chest {chest}.",
                did_you_mean(chest, chests, "chest"),
            )
        return
    stands_in, division = chests[chest], row.table.division
    if row.has("division") and division in chests and stands_in not in {None, division}:
        findings.note(
            (*row.path, "chest"),
            f"the chest {chest} belongs to {stands_in}, the rank to {division}.",
            f"Name a chest of {division}, or correct the division.",
        )


def _check_measures(row: Row[RankTable], findings: Findings) -> None:
    tongues = row.has("tongue_mm") and bool(row.table.tongue_mm)
    if tongues and row.has("family") and row.table.family is not Family.REED:
        findings.note(
            (*row.path, "tongue_mm"),
            "only a reed has tongues.",
            'Remove it, or write family = "reed".',
        )
        tongues = False
    tables = {"diameter_mm": row.table.diameter_mm, "tongue_mm": row.table.tongue_mm}
    for name, table in tables.items():
        if not row.has(name, "pipes") or (name == "tongue_mm" and not tongues):
            continue
        for number in table:
            if int(number) > row.table.pipes:
                findings.note(
                    (*row.path, name, number),
                    f"the rank has no pipe {number}.",
                    f"Write a number from 1 to {row.table.pipes}.",
                )
