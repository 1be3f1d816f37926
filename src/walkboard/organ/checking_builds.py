"""Checks how a rank's pipes are built, tuned, placed and changed over the years."""

from __future__ import annotations

from collections.abc import Mapping

from walkboard.errors import UnknownNameError
from walkboard.organ.building_stops import Span
from walkboard.organ.findings import Findings
from walkboard.organ.kinds import Build, ChangeKind, Family, TunedBy
from walkboard.organ.positions import Path
from walkboard.organ.rank_tables import CelesteTable, ChangeTable, FrontTable, PartTable, RankTable
from walkboard.organ.shape import Draft, Row
from walkboard.scales.keys import Key

# What is moved to tune each kind of pipe. Common practice, no source.
TUNED_BY: Mapping[Family, tuple[TunedBy, ...]] = {
    Family.OPEN: (TunedBy.SLIDE, TunedBy.CONE, TunedBy.ROLL, TunedBy.SHADE),
    Family.STOPPED: (TunedBy.STOPPER, TunedBy.CAP, TunedBy.EARS),
    Family.CHIMNEY: (TunedBy.CAP, TunedBy.EARS, TunedBy.STOPPER),
    Family.REED: (TunedBy.SPRING, TunedBy.ROLL),
}
REED_BUILDS = (Build.HALF_LENGTH, Build.FREE_REED)


def check_builds(draft: Draft, row: Row[RankTable], span: Span | None, findings: Findings) -> None:
    """Note faults in a rank's build, parts, celeste, front and changes."""
    if row.has("family", "tuned_by"):
        check_tuning(row.path, row.table.family, row.table.tuned_by, findings)
    if row.has("family", "build"):
        _check_build(row.path, row.table.family, row.table.build, findings)
    _check_parts(draft, row, span, findings)
    _check_celeste(draft, row, findings)
    _check_front(draft, row, span, findings)
    _check_changes(draft, row, findings)


def check_tuning(path: Path, family: Family, tuned_by: TunedBy, findings: Findings) -> None:
    """Note a tuning method that a family does not have."""
    if tuned_by not in TUNED_BY[family]:
        ways = " or ".join(TUNED_BY[family])
        kind = "a reed" if family is Family.REED else f"a pipe of the family {family}"
        findings.note((*path, "tuned_by"), f"{kind} is not tuned by {tuned_by}.", f"Write {ways}.")


def _check_build(path: Path, family: Family, build: Build, findings: Findings) -> None:
    if build in REED_BUILDS and family is not Family.REED:
        findings.note(
            (*path, "build"), f"only a reed is built as {build}.", 'Write family = "reed".'
        )
    if build is Build.HARMONIC and family not in {Family.OPEN, Family.REED}:
        findings.note(
            (*path, "build"),
            f"a pipe of the family {family} does not overblow to its octave.",
            'Write family = "open", or leave build out.',
        )


def _check_parts(draft: Draft, row: Row[RankTable], span: Span | None, findings: Findings) -> None:
    before: Key | None = None
    for part in draft.rows(PartTable, *row.path, "parts"):
        if part.has("family", "tuned_by"):
            check_tuning(part.path, part.table.family, part.table.tuned_by, findings)
        if part.has("family", "build"):
            _check_build(part.path, part.table.family, part.table.build, findings)
        if not part.has("from"):
            continue
        key = _key((*part.path, "from"), part.table.from_key, span, findings)
        if key is None:
            continue
        if before is not None and key <= before:
            findings.note(
                (*part.path, "from"),
                f"the part at {key} is not above the one before it, at {before}.",
                "List the parts from the lowest key upward.",
            )
        before = key


def _check_celeste(draft: Draft, row: Row[RankTable], findings: Findings) -> None:
    celeste = draft.row(CelesteTable, *row.path, "celeste")
    if celeste is None:
        return
    if "beats" in row.given:
        findings.note(
            (*row.path, "celeste"),
            "it is given together with beats.",
            "Keep one of the two.",
        )
    cents, beats = "cents" in celeste.given, "beats" in celeste.given
    if cents == beats and not celeste.unknown and celeste.has("cents", "beats"):
        what = "it gives both cents and beats." if cents else "it gives neither cents nor beats."
        findings.note(
            celeste.path, what, "Write celeste = {cents = 12.0}, or {beats = {C4 = 2.0}}."
        )
    for name in celeste.table.beats or {}:
        try:
            Key.parse(name)
        except UnknownNameError as error:
            findings.note((*celeste.path, "beats", name), error.what, error.fix)


def _check_front(draft: Draft, row: Row[RankTable], span: Span | None, findings: Findings) -> None:
    front = draft.row(FrontTable, *row.path, "front")
    if front is None or not front.has("from", "to"):
        return
    low = _key((*front.path, "from"), front.table.from_key, span, findings)
    high = _key((*front.path, "to"), front.table.to_key, span, findings)
    if low is not None and high is not None and high < low:
        findings.note((*front.path, "to"), f"{high} is below {low}.", "Write from and to upward.")


def _check_changes(draft: Draft, row: Row[RankTable], findings: Findings) -> None:
    before = 0
    for change in draft.rows(ChangeTable, *row.path, "changes"):
        moved = change.has("what") and change.table.what is ChangeKind.MOVED
        if change.has("what", "was") and moved == (change.table.was is None):
            what = (
                "a rank that was moved needs its old id."
                if moved
                else "only a rank that was moved has an old id."
            )
            fix = 'Write was = "choir.dulciana8".' if moved else "Remove it."
            findings.note((*change.path, "was"), what, fix)
        if not change.has("year"):
            continue
        if change.table.year < before:
            findings.note(
                (*change.path, "year"),
                "it is earlier than the one before.",
                "Put the earliest first.",
            )
        before = change.table.year


def _key(path: Path, name: str, span: Span | None, findings: Findings) -> Key | None:
    """Key of a name within a rank; None, with a note, if it is not in it."""
    try:
        key = Key.parse(name)
    except UnknownNameError as error:
        findings.note(path, error.what, error.fix)
        return None
    if span is not None and key not in span.keys:
        findings.note(
            path,
            f"the rank has no pipe for {name}.",
            f"Its pipes play {span.from_key} to {span.to_key}.",
        )
        return None
    return key
