"""Checks stops: the ranks they draw, and for which keys and pipes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from walkboard.organ.building_stops import Span, build_plays
from walkboard.organ.checking_ranks import key_in_compass
from walkboard.organ.description import PlaysTable, StopTable
from walkboard.organ.findings import Findings
from walkboard.organ.model import Division, Plays
from walkboard.organ.nearest import did_you_mean
from walkboard.organ.positions import Path
from walkboard.organ.shape import Draft, Row


def check_stops(
    draft: Draft,
    rows: Iterable[Row[StopTable]],
    divisions: Mapping[str, Division],
    spans: Mapping[str, Span | None],
    findings: Findings,
) -> None:
    """Note faults in stops."""
    played: set[str] = set()
    sound = draft.is_complete("rank")
    ids: dict[str, Path] = {}
    for row in rows:
        division = divisions.get(row.table.division) if row.has("division") else None
        drawn: list[Plays] = []
        plays_rows = draft.rows(PlaysTable, *row.path, "plays")
        sound = sound and row.has("plays")
        for plays in plays_rows:
            rank = plays.table.rank
            if not plays.has("rank"):
                sound = False
                continue
            played.add(rank)
            if rank not in spans:
                sound = False
                if draft.is_complete("rank"):
                    findings.note(
                        (*plays.path, "rank"),
                        f"there is no rank {rank}.",
                        did_you_mean(rank, spans, "rank"),
                    )
                continue
            made = _check_plays(plays, division, spans[rank], findings)
            if made is not None:
                _check_double(plays, made, drawn, findings)
                drawn.append(made)
        if row.has("id"):
            ids.setdefault(row.table.id, row.path)
    if sound:
        for id_ in ids.keys() & spans.keys() - played:
            findings.note(
                (*ids[id_], "id"),
                f"{id_} is also a rank that no stop draws, which makes a stop with that id.",
                "Give the stop another id, or have a stop draw the rank.",
            )


def _check_plays(
    row: Row[PlaysTable], division: Division | None, span: Span | None, findings: Findings
) -> Plays | None:
    """What a stop draws from a rank, if valid."""
    right = row.has("from", "to", "first_pipe") and division is not None and span is not None
    for name, key in (("from", row.table.from_key), ("to", row.table.to_key)):
        if key is not None and row.has(name):
            right &= key_in_compass((*row.path, name), key, division, findings) is not None
    first = row.table.first_pipe
    if first is not None and row.has("first_pipe") and span is not None and first > span.pipes:
        findings.note(
            (*row.path, "first_pipe"),
            f"the rank {span.rank} has no pipe {first}.",
            f"Write a number from 1 to {span.pipes}.",
        )
        return None
    if not right or division is None or span is None:
        return None
    return _check_reach(row, division, span, findings)


def _check_reach(
    row: Row[PlaysTable], division: Division, span: Span, findings: Findings
) -> Plays | None:
    """Note where a stop needs pipes that the rank does not have."""
    rank_end = span.to_key
    if (
        row.table.from_key is None
        and row.table.first_pipe is None
        and span.from_key > division.highest
    ):
        findings.note(
            (*row.path, "rank"),
            f"the rank begins at {span.from_key}, above the keys of {division.id}.",
            "State which pipe the lowest key sounds: first_pipe = 1.",
        )
        return None
    plays = build_plays(row.table, division, span)
    if not 1 <= plays.first_pipe <= span.pipes:
        findings.note(
            (*row.path, "from" if row.table.from_key else "rank"),
            f"the rank {span.rank} has no pipe of its own for {plays.from_key}.",
            f"Its pipes play {span.from_key} to {rank_end}; for other keys give first_pipe.",
        )
        return None
    if plays.to_key < plays.from_key:
        findings.note(
            (*row.path, "to"),
            f"{plays.to_key} is below the lowest key, {plays.from_key}.",
            "Write from and to upward.",
        )
        return None
    if plays.by_key is not None:
        end = max(plays.by_key)
        if plays.to_key > end:
            findings.note(
                (*row.path, "to"),
                f"the rank {span.rank} has no pipe for the keys above {end}.",
                f'Write to = "{end}", or leave it out.',
            )
            return None
        return plays
    last = plays.first_pipe + plays.to_key.semitone - plays.from_key.semitone
    if last > span.pipes:
        end = plays.from_key.up(span.pipes - plays.first_pipe)
        findings.note(
            (*row.path, "to"),
            f"{plays.to_key} would need pipe {last}; the rank {span.rank} has {span.pipes}.",
            f'Write to = "{end}", or leave it out.',
        )
        return None
    return plays


def _check_double(
    row: Row[PlaysTable], made: Plays, drawn: Iterable[Plays], findings: Findings
) -> None:
    """Note where one stop draws the same pipes twice on the same keys."""
    sounds = set(made.sounds())
    for other in drawn:
        if other.rank == made.rank and sounds.intersection(other.sounds()):
            findings.note(
                row.path,
                f"the stop draws the same pipes of {made.rank} twice.",
                "Remove one, or give the keys of each with from and to.",
            )
            return
