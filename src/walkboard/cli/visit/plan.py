"""``walkboard visit``: the worklist and its ticks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from walkboard.cli.options import BOOK, ORGAN
from walkboard.cli.plan_options import (
    COUPLED,
    EVENT_AIR,
    LEAVE_RISKY,
    LEAVE_STRAYS,
    MUST,
    MUST_NOT,
    OUT_OF_REACH,
    PURPOSE_OF_BOOK,
    TIE,
    WITHIN,
    request_from_options,
)
from walkboard.cli.printing import print_json
from walkboard.errors import InputError

if TYPE_CHECKING:
    from walkboard.planning.plan import Plan


def plan(
    book: Path = BOOK,
    minutes: float | None = typer.Option(
        None, "--minutes", help="Minutes left; default: those of the visit."
    ),
    event: str | None = typer.Option(
        None, "--event", metavar="UID", help="The calendar event the visit is for."
    ),
    event_within: float | None = typer.Option(
        None, "--event-within", metavar="CENTS", help="How close to pitch it needs its stops."
    ),
    event_air: list[str] = EVENT_AIR,
    must: list[str] = MUST,
    must_not: list[str] = MUST_NOT,
    out_of_reach: list[str] = OUT_OF_REACH,
    within: list[str] = WITHIN,
    tie: float = TIE,
    leave_risky: bool = LEAVE_RISKY,
    leave_strays: bool = LEAVE_STRAYS,
    purpose: str | None = PURPOSE_OF_BOOK,
    coupled: list[str] = COUPLED,
    faults: bool = typer.Option(
        False, "--faults", help="Always include every pipe with an open fault."
    ),
    only_try: bool = typer.Option(False, "--try", help="Show the plan without storing it."),
    organ: str | None = ORGAN,
    as_json: bool = typer.Option(False, "--json", help="Print JSON."),
) -> None:
    """Make and store the worklist; a new plan replaces the last."""
    from walkboard.cli.plan import print_plan, print_questions
    from walkboard.planning.to_json import plan_to_json
    from walkboard.work import open_book, plans
    from walkboard.work.before_planning import moved_since
    from walkboard.work.plan_request import EventNeeds, event_named, usual_purpose

    if event is None and event_within is not None:
        raise InputError("Say which event --within is for.", fix="Give --event UID too.")
    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        visit = open_book.visit_at_work(opened, kept)
        request = request_from_options(
            described,
            plans.minutes_of(visit, minutes),
            event_air=event_air,
            must=must,
            must_not=must_not,
            out_of_reach=out_of_reach,
            within=within,
            tie=tie,
            leave_risky=leave_risky,
            leave_strays=leave_strays,
            purpose=purpose or usual_purpose(opened, kept.id),
            coupled=coupled,
            event=None
            if event is None
            else EventNeeds(event_named(opened, kept.id, event), event_within),
            faults=opened.open_faults(kept.id) if faults else (),
        )
        current = opened.current_plan(visit.id)
        if only_try:
            made = plans.tried(opened, visit, plans.adopted(request))
        else:
            made = plans.kept(opened, visit, request).plan
        asked = plans.questions(opened, visit, request)
        moved = moved_since(opened, visit)
    if as_json:
        texts = [question.text for question in asked]
        print_json(
            {**plan_to_json(made), "kept": not only_try, "questions": texts, "moved": list(moved)}
        )
        return
    for sentence in moved:
        typer.echo(sentence)
    print_questions(asked)
    print_plan(made)
    if only_try:
        _print_tried(made, None if current is None else current.plan)


def _print_tried(tried: Plan, current: Plan | None) -> None:
    from walkboard.work.plans import Difference

    if current is not None:
        change = Difference.between(tried, current)
        parts = [
            f"{count} pipe{'' if count == 1 else 's'} {word}"
            for count, word in ((change.more, "more"), (change.fewer, "fewer"))
            if count
        ]
        typer.echo(
            f"Compared with the current plan: {', '.join(parts) or 'the same pipes'}; badness left "
            f"{tried.cost_after:.1f} instead of {current.cost_after:.1f}."
        )
    typer.echo("Nothing was stored.")


def tick(
    book: Path = BOOK,
    pipes: list[str] = typer.Argument(..., metavar="PIPE...", help="As rank:number."),
    state: str = typer.Option("done", "--state", help="done, skipped or open (undo)."),
    note: str = typer.Option("", "--note", help="A short note."),
    organ: str | None = ORGAN,
) -> None:
    """Tick pipes of the worklist."""
    from walkboard.book.records import TickState
    from walkboard.organ.model import PipeRef
    from walkboard.work import open_book
    from walkboard.work import visit as visit_work

    if state not in {s.value for s in TickState}:
        raise InputError(f"A pipe cannot be {state!r}.", fix="Write done, skipped or open.")
    refs = [PipeRef.parse(pipe) for pipe in pipes]
    with open_book.opened(book) as opened:
        kept, described = open_book.organ_of(opened, organ)
        visit = open_book.visit_at_work(opened, kept)
        for ref in refs:
            visit_work.tick(opened, described, visit, ref, state=TickState(state), note=note)
            typer.echo(f"{ref}: {state}.")
