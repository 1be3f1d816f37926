"""Writes the invented history into a book: visits, readings, plans, ticks, faults, a calendar.

The history's readings have no sound: the book stores the file of readings as the recording of such
a walk, as ``walkboard listen --json`` prints it.
"""

from __future__ import annotations

import json
import tempfile
import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard import __version__
from walkboard.book.opening import create_book
from walkboard.book.records import Conditions, KeptOrgan, KeptVisit, Tick, TickState
from walkboard.book.venue.records import FaultCare, NextVisit
from walkboard.demo.hall import HallState
from walkboard.demo.history.words import (
    CONTACTS,
    EVENTS,
    FAULTS,
    NEXT_VISIT_DAYS,
    NEXT_VISIT_REASON,
    REPAIR,
    VISITS,
    FaultToTell,
)
from walkboard.demo.history.years import (
    HallYears,
    PlannedVisit,
    hall_after,
    hall_years,
    march_before,
    registrations,
)
from walkboard.demo.years.course import VisitedYears
from walkboard.listening.readings import Measured
from walkboard.listening.types import SoundInfo
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import cents_off, target_hz
from walkboard.planning.plan import Plan
from walkboard.planning.value.use import EventUse, RegistrationUse
from walkboard.quantities import ratio_of_cents
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.survey.hear.to_json import walk_to_json
from walkboard.work import faults as fault_work

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

WITHOUT_SOUND = "readings, without sound"
_BEGINS = time(9, 0, tzinfo=UTC)
_HOLD_S, _GAP_S = 3.0, 0.25


@dataclass
class _Clock:
    """The book's clock while the past is written: shows the time it is set to."""

    at: datetime

    def __call__(self) -> datetime:
        return self.at

    def on(self, minutes: float) -> datetime:
        self.at += timedelta(minutes=minutes)
        return self.at


def write_history(
    folder: Path, description: str, state: HallState, *, seed: int, now: datetime
) -> HallState:
    """Make a book of the hall with three years of visits, and a calendar.

    Parameters
    ----------
    folder : Path
        Folder of the book; must not exist yet.
    description : str
        Description of the hall.
    state : HallState
        The hall's voices, and the air of the present visit.
    seed : int
    now : datetime
        Time-zone aware; the calendar's coming events are after it.

    Returns
    -------
    HallState
        The hall after these years.
    """
    organ = read_organ(description)
    present = march_before(now.date())
    hall = hall_years(organ, seed, state, VISITS, present)
    clock = _Clock(datetime.combine(hall.years.visits[0].weather.at, _BEGINS) - timedelta(days=3))
    with create_book(folder, clock=clock) as book:
        kept = book.add_organ(organ.name, description)
        for number, (planned, was) in enumerate(zip(VISITS, hall.years.visits, strict=False)):
            clock.at = datetime.combine(was.weather.at, _BEGINS)
            _report(book, kept, organ, clock, number)
            _visit(book, kept, organ, clock, _Past(planned, was, hall, number, state))
        clock.at = now - timedelta(days=1)
        _calendar(book, kept, now)
        _venue(book, kept, now)
    return hall_after(state, hall.years)


@dataclass(frozen=True, eq=False)
class _Past:
    planned: PlannedVisit
    was: VisitedYears
    hall: HallYears
    number: int
    state: HallState

    @property
    def plan(self) -> Plan:
        return self.hall.plans[self.number]


def _visit(book: Book, kept: KeptOrgan, organ: Organ, clock: _Clock, past: _Past) -> None:
    planned, was = past.planned, past.was
    wind = {d.id: 90.0 for d in organ.divisions}
    conditions = Conditions(dict(was.shown_celsius), round(was.weather.humidity, 2), wind)
    visit = book.open_visit(
        kept.id, planned.purpose, minutes=planned.minutes, conditions=conditions
    )
    clock.on(15.0)
    with tempfile.TemporaryDirectory() as made:
        for drawn in registrations(organ, planned):
            walk = _walk(organ, past, drawn)
            path = Path(made) / walk.file
            path.write_text(json.dumps(walk_to_json(walk), ensure_ascii=False), encoding="utf-8")
            book.keep_recording(
                visit.id, path, walk, program_version=__version__, recorded_at=clock.on(1.0)
            )
    clock.on(5.0)
    book.keep_plan(visit.id, past.plan, event_air_celsius=planned.event_celsius)
    _ticks(book, visit, clock, past)
    _mark_fixed(book, kept, visit, clock, past.number)
    clock.on(10.0)
    book.close_visit(visit.id, planned.note)


def _walk(organ: Organ, past: _Past, drawn: tuple[str, ...]) -> HeardWalk:
    """What was heard of some stops, as a walk without its sound."""
    was, index = past.was, past.hall.index
    keyboard = organ.division(organ.stop(drawn[0]).division)
    air = was.shown_celsius[keyboard.id]
    holds = []
    keys = organ.keys_of(drawn)
    for n, key in enumerate(keys, start=1):
        start = (n - 1) * (_HOLD_S + _GAP_S) + 1.0
        readings = []
        for pipe in organ.sounding(drawn, key):
            at = index[pipe]
            if not was.heard[at]:
                continue
            # against the target at the walk's air; a borrowed rank is in another division's
            own = was.shown_celsius[organ.rank(pipe.rank).division]
            hz = target_hz(organ, pipe, own) * ratio_of_cents(float(was.cents[at]))
            readings.append(_reading(organ, past, pipe, hz=hz, air=air, start_s=start))
        number = keyboard.key_number(key)
        holds.append(Hold(n, key, number, start, start + _HOLD_S, tuple(readings)))
    seconds = len(keys) * (_HOLD_S + _GAP_S) + 2.0
    return HeardWalk(
        file=f"{drawn[0].replace('.', '-')}.json",
        sound=SoundInfo(seconds, 48_000, 1, WITHOUT_SOUND),
        organ=organ.name,
        drawn=drawn,
        air_celsius=air,
        holds=tuple(holds),
        silent_keys=(),
    )


def _reading(
    organ: Organ, past: _Past, pipe: PipeRef, *, hz: float, air: float, start_s: float
) -> Measured[PipeRef]:
    return Measured(
        pipe=pipe,
        hz=hz,
        sigma_cents=float(past.was.sigma_cents[past.hall.index[pipe]]),
        cents=cents_off(hz, organ, pipe, air),
        level_db=past.state.voice(pipe).level_db,
        start_s=start_s + 0.6,
        end_s=start_s + _HOLD_S - 0.1,
    )


def _ticks(book: Book, visit: KeptVisit, clock: _Clock, past: _Past) -> None:
    ticks = []
    for item in past.plan.items:
        skipped = item.pipe in past.hall.skipped[past.number]
        state, note = (TickState.SKIPPED, "No time.") if skipped else (TickState.DONE, "")
        uid = uuid.uuid5(uuid.NAMESPACE_OID, f"{visit.id} {item.pipe}").hex
        ticks.append(Tick(uid, visit.id, item.pipe, state.value, note, clock.on(item.minutes)))
    book.set_ticks(ticks)


def _report(book: Book, kept: KeptOrgan, organ: Organ, clock: _Clock, visit: int) -> None:
    """What was reported before a visit."""
    arrival = clock.at
    for fault in sorted(_before(visit), key=lambda f: -f.days_before):
        clock.at = arrival - timedelta(days=fault.days_before)
        fault_work.report(
            book, kept, organ, fault.kind, fault.words, stop=fault.stop, key=fault.key
        )
    clock.at = arrival


def _mark_fixed(book: Book, kept: KeptOrgan, visit: KeptVisit, clock: _Clock, number: int) -> None:
    planned = {fault.words: fault.fixed for fault in _before(number)}
    for fault in book.open_faults(kept.id):
        fixed = planned.get(fault.words)
        if fixed is not None:
            clock.on(6.0)
            book.mark_fixed(fault.id, visit_id=visit.id, note=fixed)


def _before(visit: int) -> list[FaultToTell]:
    return [fault for fault in FAULTS if fault.visit == visit]


def _calendar(book: Book, kept: KeptOrgan, now: datetime) -> None:
    for n, event in enumerate(EVENTS):
        starts = datetime.combine(
            now.date() + timedelta(days=event.days), time(event.hour, tzinfo=UTC)
        )
        uid = f"harbour-hall-{n}"
        book.keep_event(
            kept.id, uid, starts, event.title, stops=event.stops, air_celsius=event.celsius
        )
        if event.stops:
            use = EventUse((RegistrationUse(event.stops, words=event.title),))
            book.keep_event_use(kept.id, uid, use=use)


def _venue(book: Book, kept: KeptOrgan, now: datetime) -> None:
    """Contacts, repairs, and the tuner's next visit."""
    for contact in CONTACTS:
        book.keep_contact(kept.id, contact)
    for fault in book.open_faults(kept.id):
        book.keep_fault_care(FaultCare(fault.id, *REPAIR))
    arrives = datetime.combine(now.date() + timedelta(days=NEXT_VISIT_DAYS), _BEGINS)
    book.keep_next_visit(kept.id, NextVisit(arrives, 4.0, NEXT_VISIT_REASON))
