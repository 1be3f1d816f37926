"""Checks couplers, tremulants, toy counters and the several organs of a building."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from walkboard.errors import UnknownNameError
from walkboard.organ.description import (
    CouplerTable,
    DivisionTable,
    OrganTable,
    StopTable,
    ToyTable,
    TremulantTable,
)
from walkboard.organ.findings import Findings
from walkboard.organ.kinds import ChangeKind
from walkboard.organ.nearest import did_you_mean
from walkboard.organ.positions import Path
from walkboard.organ.rank_tables import ChangeTable, RankTable
from walkboard.organ.shape import Draft, Row
from walkboard.scales.temperament import known, names


def check_console(
    draft: Draft, divisions: Collection[str], ranks: Collection[str], findings: Findings
) -> None:
    """Note faults in everything at the console except the stops.

    Parameters
    ----------
    draft : Draft
    divisions, ranks : collection of str
        Existing ids.
    findings : Findings
    """
    couplers = draft.rows(CouplerTable, "coupler")
    tremulants = draft.rows(TremulantTable, "tremulant")
    for coupler in couplers:
        _check_coupler(draft, coupler, divisions, findings)
    for tremulant in tremulants:
        for name, there_are in (("divisions", divisions), ("ranks", ranks)):
            if tremulant.has(name) and draft.is_complete(name[:-1]):
                for place, one in enumerate(getattr(tremulant.table, name)):
                    _check_known(
                        (*tremulant.path, name, place), one, there_are, name[:-1], findings
                    )
    _check_one_id_each(
        [*draft.rows(StopTable, "stop"), *couplers, *tremulants, *draft.rows(ToyTable, "toy")],
        ranks,
        findings,
    )


def check_organs(draft: Draft, findings: Findings) -> None:
    """Note faults in the several organs of a building, and in what belongs to them."""
    organs = draft.rows(OrganTable, "organ")
    ids = {row.table.id for row in organs if row.has("id")}
    for row in organs:
        given = row.table.temperament
        if given is not None and row.has("temperament"):
            check_temperament_name((*row.path, "temperament"), given, findings)
    for division in draft.rows(DivisionTable, "division"):
        organ = division.table.organ
        if organ is not None and division.has("organ") and draft.is_complete("organ"):
            _check_known((*division.path, "organ"), organ, ids, "organ", findings)


def check_temperament_name(path: Path, given: str, findings: Findings) -> None:
    """Note an unknown temperament, with the most likely one."""
    try:
        known(given)
    except UnknownNameError as error:
        hint = did_you_mean(given, names(), "temperament")
        findings.note(
            path,
            f"there is no temperament {given}.",
            hint if hint.startswith("Did") else error.fix,
        )


def check_links_between_ranks(draft: Draft, ranks: Collection[str], findings: Findings) -> None:
    """Note a celeste without its partner, and a moved rank whose old id is still in use."""
    for row in draft.rows(RankTable, "rank"):
        celeste = row.table.celeste
        partner = None if celeste is None or not row.has("celeste") else celeste.partner
        if partner is not None and draft.is_complete("rank"):
            path = (*row.path, "celeste", "partner")
            if partner == row.table.id:
                findings.note(path, "a rank cannot beat with itself.", "Name its partner.")
            else:
                _check_known(path, partner, ranks, "rank", findings)
        for change in draft.rows(ChangeTable, *row.path, "changes"):
            was = change.table.was
            moved = change.has("what", "was") and change.table.what is ChangeKind.MOVED
            if moved and was in ranks and was != row.table.id:
                findings.note(
                    (*change.path, "was"),
                    f"the rank {was} still exists, with readings of its own.",
                    "Give the rank that has this id now another one.",
                )


def _check_coupler(
    draft: Draft, row: Row[CouplerTable], divisions: Collection[str], findings: Findings
) -> None:
    table = row.table
    ends = (("from", table.from_division), ("to", table.to_division))
    for name, division in ends:
        if row.has(name) and draft.is_complete("division"):
            _check_known((*row.path, name), division, divisions, "division", findings)
    if not row.has("from", "to", "octave", "unison_off"):
        return
    same = table.from_division == table.to_division
    if table.unison_off and (table.octave or not same):
        findings.note(
            (*row.path, "unison_off"),
            "unison off silences a division at its own keys.",
            "Name the same division in from and to, and leave octave out.",
        )
    elif same and not table.octave and not table.unison_off:
        findings.note(
            (*row.path, "to"),
            f"it couples {table.to_division} to itself at the same pitch.",
            "Name another division, or write octave = 1, octave = -1 or unison_off = true.",
        )


def _check_known(
    path: Path, id_: str, there_are: Collection[str], kind: str, findings: Findings
) -> None:
    if id_ not in there_are:
        findings.note(path, f"there is no {kind} {id_}.", did_you_mean(id_, there_are, kind))


def _check_one_id_each(rows: list[Row[Any]], ranks: Collection[str], findings: Findings) -> None:
    """Everything drawn at the console is named by id in one list, so the ids must differ."""
    seen = dict.fromkeys(ranks, "stop")  # a rank that no stop draws is a stop with its own id
    for row in rows:
        if not row.has("id"):
            continue
        kind = str(row.path[0])
        id_ = row.table.id
        if seen.get(id_, kind) != kind:
            findings.note(
                (*row.path, "id"),
                f"{id_} is already the id of a {seen[id_]}.",
                "Give it another id.",
            )
        seen.setdefault(id_, kind)
