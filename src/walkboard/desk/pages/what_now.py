"""What to do now at an organ: the visit, the next event, the faults, each with its next step."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from walkboard.book.records import KeptEvent, KeptFault, KeptOrgan, KeptVisit, TickState
from walkboard.desk.pages.fault_forms import word_of
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.figures import clock, day, local
from walkboard.desk.text.figures import minutes as minutes_words
from walkboard.sheets.keyholder import full_stop_words
from walkboard.work.faults import place_words
from walkboard.work.worklist import progress_of, work_groups

if TYPE_CHECKING:
    from walkboard.desk.frame.desk import Desk
    from walkboard.desk.text.preferences import Preferences
    from walkboard.organ.model import Organ

_MOST_FAULTS = 4


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do.

    Attributes
    ----------
    title, words : str
    address, action : str
        Where the next step is taken, and what its button says; empty if there is none.
    share : float or None
        How far it has come, from 0 to 1.
    links : tuple of (str, str)
        Address and words of what it is about.
    """

    title: str
    words: str
    address: str = ""
    action: str = ""
    share: float | None = None
    links: tuple[tuple[str, str], ...] = ()


def steps_now(desk: Desk, kept: KeptOrgan, organ: Organ, chosen: Preferences) -> list[Step]:
    """The visit first, then what it is for, then what is broken."""
    visits = desk.book.visits(kept.id)
    open_visit = next((v for v in reversed(visits) if v.is_open), None)
    first = _no_visit(kept, visits) if open_visit is None else _at_visit(desk, kept, open_visit)
    return [first, _event(desk, kept, organ), _faults(desk, kept, organ, chosen)]


def coming(events: tuple[KeptEvent, ...]) -> list[KeptEvent]:
    """The events ahead that were not called off, the next one first."""
    now = datetime.now(UTC)
    ahead = [event for event in events if event.starts_at >= now and not event.cancelled]
    return sorted(ahead, key=lambda event: event.starts_at)


def _no_visit(kept: KeptOrgan, visits: tuple[KeptVisit, ...]) -> Step:
    words = say("organ.first_visit")
    if visits:
        words = say("organ.visit_last", day=day(visits[-1].opened_at), purpose=visits[-1].purpose)
    return Step(
        say("organ.no_visit_open"), words, f"/organ/{kept.id}/visit", say("organ.open_visit")
    )


def _at_visit(desk: Desk, kept: KeptOrgan, visit: KeptVisit) -> Step:
    """The open visit, with the first of its steps that is not done."""
    at = f"/organ/{kept.id}/visit"
    title = visit.purpose or say("organ.visit_untitled")
    opened = say("organ.open_since", day=day(visit.opened_at))
    groups = work_groups(desk.book, visit)
    if groups is None:
        if not desk.book.recording_airs(visit.id):
            words = f"{opened} · {say('organ.nothing_heard')}"
            return Step(title, words, f"{at}/listen", say("organ.go_listen"))
        words = f"{opened} · {say('organ.no_plan')}"
        return Step(title, words, f"{at}/plan", say("organ.go_plan"))
    progress = progress_of(groups)
    share = (progress.done + progress.skipped) / progress.pipes if progress.pipes else 1.0
    words = say(
        "organ.tuned_of",
        done=progress.done,
        n=progress.pipes,
        left=minutes_words(progress.open_minutes),
    )
    words = f"{opened} · {words}"
    if not progress.open:
        return Step(title, words, f"{at}/close", say("organ.go_close"), share)
    following = next(s for g in groups for s in g.steps if s.state is TickState.OPEN)
    heading = next(g.heading for g in groups if following in g.steps)
    link = (f"{at}/work", say("organ.next_pipe", pipe=heading))
    return Step(title, words, f"/organ/{kept.id}/pipe", say("organ.go_pipe"), share, (link,))


def _event(desk: Desk, kept: KeptOrgan, organ: Organ) -> Step:
    ahead = coming(desk.book.events(kept.id))
    at = f"/organ/{kept.id}/calendar"
    if not ahead:
        return Step(say("organ.no_event"), say("organ.no_event_words"), at, say("organ.add_event"))
    event = ahead[0]
    days = (local(event.starts_at).date() - local(datetime.now(UTC)).date()).days
    when = say("organ.event_when", n=days, day=day(event.starts_at), time=clock(event.starts_at))
    links = tuple(
        (f"{at}#events", say("organ.event_later", day=day(e.starts_at), title=_titled(e)))
        for e in ahead[1:3]
    )
    worked = desk.readiness.known(kept.id)
    found = None
    if worked is not None:
        found = next((one for one in worked.found if one.event_id == event.id), None)
    if found is None:
        words = f"{when} {say('organ.readiness_unknown')}"
        return Step(_titled(event), words, at, say("organ.work_out_readiness"), None, links)
    if found.is_ready:
        words = f"{when} {say('organ.will_be_ready')}"
        return Step(_titled(event), words, at, say("organ.see_calendar"), None, links)
    names = {stop.id: full_stop_words(organ, stop) for stop in organ.stops}
    weakest = names.get(found.weakest, found.weakest)
    percent = round(100.0 * found.lowest_chance)
    not_ready = say("organ.will_not_be_ready", stop=weakest, percent=percent)
    return Step(_titled(event), f"{when} {not_ready}", at, say("organ.when_to_come"), None, links)


def _titled(event: KeptEvent) -> str:
    return event.title or say("calendar.untitled")


def _faults(desk: Desk, kept: KeptOrgan, organ: Organ, chosen: Preferences) -> Step:
    standing = desk.book.open_faults(kept.id)
    at = f"/organ/{kept.id}/faults"
    if not standing:
        return Step(
            say("organ.no_faults"),
            say("organ.no_faults_words"),
            f"{at}/new",
            say("organ.note_fault"),
        )
    links = tuple(
        (f"{at}/{fault.id}", _fault_words(organ, fault, chosen))
        for fault in standing[-1 : -_MOST_FAULTS - 1 : -1]
    )
    return Step(say("organ.faults", n=len(standing)), "", at, say("organ.see_faults"), None, links)


def _fault_words(organ: Organ, fault: KeptFault, chosen: Preferences) -> str:
    named = say(f"faults.name_{word_of(fault.kind)}")
    name = named[:1].upper() + named[1:]  # German nouns keep their capitals
    where = place_words(organ, fault, chosen.key)
    return f"{name}: {where}" if where else name
