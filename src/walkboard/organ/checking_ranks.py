"""Checks ranks: their compass, chest, tuning and measures; `checking_pitch` their pitch."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from walkboard.errors import UnknownNameError
from walkboard.organ.building import Span
from walkboard.organ.checking_pitch import check_pitch
from walkboard.organ.description import RankTable
from walkboard.organ.findings import Findings, did_you_mean
from walkboard.organ.model import Division, Family, TunedBy
from walkboard.organ.positions import Path
from walkboard.organ.shape import Draft, Row
from walkboard.scales.keys import Key

# What is moved on which kind of pipe. Common practice, no source.
TUNED_BY: Mapping[Family, tuple[TunedBy, ...]] = {
    Family.OPEN: (TunedBy.SLIDE, TunedBy.CONE, TunedBy.ROLL, TunedBy.SHADE),
    Family.STOPPED: (TunedBy.STOPPER, TunedBy.CAP, TunedBy.EARS),
    Family.CHIMNEY: (TunedBy.CAP, TunedBy.EARS, TunedBy.STOPPER),
    Family.REED: (TunedBy.SPRING, TunedBy.ROLL),
}
HIGHEST_KEY = Key(127)  # the end of the numbering of keys


def check_ranks(
    draft: Draft,
    rows: Iterable[Row[RankTable]],
    divisions: Mapping[str, Division],
    chests: Mapping[str, str | None],
    findings: Findings,
) -> dict[str, Span | None]:
    """Note what is wrong with ranks; give the keys of each by its id, None where they are wrong."""
    spans: dict[str, Span | None] = {}
    for row in rows:
        division = divisions.get(row.table.division) if row.has("division") else None
        span = _span(row, division, findings)
        if row.has("id"):
            spans.setdefault(row.table.id, span)
        _check_chest(draft, row, chests, findings)
        _check_tuning(row, findings)
        _check_measures(row, findings)
        check_pitch(draft, row, span, findings)
    return spans


def _span(row: Row[RankTable], division: Division | None, findings: Findings) -> Span | None:
    """The rank's keys, where they are right."""
    start = None
    if row.has("from") and row.table.from_key is not None:
        start = key_in_compass((*row.path, "from"), row.table.from_key, division, findings)
    elif row.has("from") and division is not None:
        start = division.lowest
    if start is None or division is None or not row.has("pipes"):
        return None
    most = HIGHEST_KEY.semitone - start.semitone + 1
    if row.table.pipes > most:
        findings.note(
            (*row.path, "pipes"),
            f"{row.table.pipes} pipes from {start} go past the highest key there is.",
            f"Write at most {most}, and describe the pipes above as a rank of their own.",
        )
        return None
    return Span(row.table.id, division.id, start, row.table.pipes)


def key_in_compass(
    path: Path, name: str, division: Division | None, findings: Findings
) -> Key | None:
    """Key of a name within a division's compass; None, and noted, where it is not."""
    try:
        key = Key.parse(name)
    except UnknownNameError as error:
        findings.note(path, error.what, error.mend)
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


def _check_tuning(row: Row[RankTable], findings: Findings) -> None:
    if not row.has("family", "tuned_by"):
        return
    family, tuned_by = row.table.family, row.table.tuned_by
    if tuned_by not in TUNED_BY[family]:
        ways = " or ".join(TUNED_BY[family])
        kind = "a reed" if family is Family.REED else f"a pipe of the family {family}"
        findings.note(
            (*row.path, "tuned_by"), f"{kind} is not tuned by {tuned_by}.", f"Write {ways}."
        )


def _check_measures(row: Row[RankTable], findings: Findings) -> None:
    tongues = row.has("tongue_mm") and bool(row.table.tongue_mm)
    if tongues and row.has("family") and row.table.family is not Family.REED:
        findings.note(
            (*row.path, "tongue_mm"),
            "only a reed has tongues.",
            'Take it out, or write family = "reed".',
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
