"""Record → book → record: what comes out equals what went in, field by field and bit by bit."""

import dataclasses
import itertools
from collections.abc import Callable, Iterator
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.book.making import DESCRIPTION, Clock
from tests.book.strategies import (
    airs,
    conditions,
    event_uses,
    instants,
    maybe_airs,
    maybe_numbers,
    names,
    numbers,
    pipes,
    plans,
    tick_states,
    tuples,
    walks,
    within,
    words,
)
from walkboard.book import open_book
from walkboard.book.keeping import Book
from walkboard.book.records import Conditions, KeptSettling, Tick
from walkboard.listening.readings import Bound, Bounded, Either, Measured, Withheld
from walkboard.listening.types import SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.planning.plan import CurvePoint, Plan, PlanItem, Reference
from walkboard.planning.value.use import EventUse, RegistrationUse
from walkboard.plausible import VISIT_MINUTES
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.survey.recognise.verdict import Heard

few = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@pytest.fixture(scope="module")
def shared(new_folder: Callable[[], Path]) -> Iterator[tuple[Book, int, Iterator[int]]]:
    """One book for all examples, its open visit, and numbers that never come twice."""
    with open_book(new_folder(), clock=Clock()) as book:
        organ = book.add_organ("Harbour Hall", DESCRIPTION)
        yield book, book.open_visit(organ.id, "round trips").id, itertools.count()


def in_utc(at: Any) -> Any:
    return None if at is None else at.astimezone(UTC)


def a_new_sound(folder: Path, count: Iterator[int]) -> Path:
    path = folder / "walk.flac"
    path.write_bytes(f"take {next(count)}".encode())
    return path


@few
@given(walk=walks, version=words, recorded_at=st.none() | instants)
def test_a_heard_walk(shared, tmp_path_factory, walk, version, recorded_at):
    book, visit_id, count = shared
    source = a_new_sound(tmp_path_factory.getbasetemp(), count)
    kept = book.keep_recording(
        visit_id, source, walk, program_version=version, recorded_at=recorded_at
    )
    assert kept.walk == walk
    assert book.recording(kept.id) == kept
    assert kept.program_version == version
    assert kept.recorded_at == in_utc(recorded_at)
    assert book.recordings(visit_id)[-1] == kept
    mine = [r for r in book.readings(visit_id) if r.recording_id == kept.id]
    assert [r.reading for r in mine] == [r for hold in walk.holds for r in hold.readings]


@few
@given(first=walks, second=walks)
def test_a_walk_heard_twice(shared, tmp_path_factory, first, second):
    book, visit_id, count = shared
    source = a_new_sound(tmp_path_factory.getbasetemp(), count)
    kept = book.keep_recording(visit_id, source, first, program_version="1")
    again = book.take_in_again(kept.id, second, program_version="2")
    assert [hearing.walk for hearing in book.hearings(kept.id)] == [first, second]
    assert book.recording(kept.id) == again


@few
@given(plan=plans, air=maybe_numbers)
def test_a_plan(shared, plan, air):
    book, visit_id, _ = shared
    kept = book.keep_plan(visit_id, plan, event_air_celsius=air)
    assert (kept.plan, kept.event_air_celsius) == (plan, air)
    assert book.current_plan(visit_id) == kept


@few
@given(noted=conditions)
def test_conditions(shared, noted):
    book, visit_id, _ = shared
    kept = book.note_conditions(visit_id, noted)
    assert kept.conditions[-1] == dataclasses.replace(noted, noted_at=in_utc(noted.noted_at))
    assert book.visit(visit_id) == kept


@few
@given(pipe=pipes, state=tick_states, note=words, device=words, at=instants)
def test_a_tick(shared, *, pipe, state, note, device, at):
    book, visit_id, count = shared
    tick = Tick(f"tick {next(count)}", visit_id, pipe, state, note, at, device)
    kept = book.set_tick(tick)
    assert kept == dataclasses.replace(tick, at=in_utc(at))
    assert book.set_tick(tick) == kept
    assert book.ticks(visit_id).count(kept) == 1


@few
@given(pipe=pipes, heard=st.lists(st.tuples(numbers, numbers, numbers, numbers, instants)))
def test_how_pipes_settled(shared, *, pipe, heard):
    book, visit_id, count = shared
    pipe = PipeRef(f"{pipe.rank} {next(count)}", pipe.number)
    settlings = [KeptSettling(visit_id, pipe, "stopper", *one) for one in heard]
    book.keep_settlings(settlings)
    kept = set(book.settlings(1))
    expected = {(one.heard_at.astimezone(UTC), one.pipe) for one in settlings}
    assert expected <= {(one.heard_at, one.pipe) for one in kept}
    for one in settlings[:1]:  # of the same pipe at the same time only the first is kept
        assert dataclasses.replace(one, heard_at=in_utc(one.heard_at)) in kept
    assert book.keep_settlings(settlings) == 0


@few
@given(uid=names, at=instants, title=words, stops=tuples(words), air=maybe_airs)
def test_an_event(shared, *, uid, at, title, stops, air):
    book, _, _ = shared
    kept = book.keep_event(1, uid, at, title, stops=stops, air_celsius=air)
    assert (kept.uid, kept.starts_at, kept.title, kept.stops, kept.air_celsius) == (
        uid,
        in_utc(at),
        title,
        stops,
        air,
    )
    assert kept in book.events(1)


@few
@given(uid=names, at=instants, use=event_uses, air=airs)
def test_an_events_use_and_air(shared, *, uid, at, use, air):
    book, _, count = shared
    uid = f"{uid} {next(count)}"
    book.keep_event(1, uid, at, "recital")
    kept = book.keep_event_use(1, uid, use=use, air_by_division=air)
    assert (kept.use, kept.air_by_division) == (use, air)
    assert kept in book.events(1)


@few
@given(subject=names, factor=numbers, why=words)
def test_a_weight(shared, *, subject, factor, why):
    book, _, _ = shared
    kept = book.keep_weight(1, subject, factor, why)
    assert (kept.subject, kept.factor, kept.words) == (subject, factor, why)
    assert kept in book.weight_versions(1, subject)
    assert (kept in book.weights(1)) == (factor != 1.0)


@few
@given(description=words, minutes=within(VISIT_MINUTES), purpose=words, closing_note=words)
def test_an_organ_and_its_visit(shared, description, minutes, purpose, closing_note):
    book, _, count = shared
    organ = book.add_organ(f"organ {next(count)}", description)
    assert organ.description == description
    assert book.organ(organ.id) == organ
    visit = book.open_visit(organ.id, purpose, minutes=minutes)
    closed = book.close_visit(visit.id, closing_note)
    assert (closed.purpose, closed.minutes, closed.closing_note) == (
        purpose,
        minutes,
        closing_note,
    )
    assert book.visits(organ.id) == (closed,)


def test_a_float_keeps_its_last_bit(shared):
    book, visit_id, _ = shared
    odd = (5e-324, 2.2250738585072014e-308, 0.1 + 0.2, 1.7976931348623157e308, 2.0**53 - 1.0)
    curve = tuple(CurvePoint(minutes, -minutes) for minutes in odd)
    plan = Plan(0.1, (), (), 0.1, 0.1, 0.1, 0.1, curve)
    book.keep_plan(visit_id, plan)
    kept = book.current_plan(visit_id)
    assert [point.minutes.hex() for point in kept.plan.curve] == [value.hex() for value in odd]


@pytest.mark.parametrize(
    ("of", "known"),
    [
        (
            HeardWalk,
            (
                "file sound organ drawn air_celsius holds silent_keys warnings heard not_held "
                "unsure_keys"
            ),
        ),
        (
            Heard,
            (
                "sentence is_walk also_sounding not_sounding shift_cents tremulant cipher "
                "believed question undecided clock"
            ),
        ),
        (SoundInfo, "seconds sample_rate channels format"),
        (Hold, "n key key_number start_s end_s readings sureness flags"),
        (
            Measured,
            (
                "pipe start_s end_s level_db flags partials name_sureness beat_hz hz sigma_cents "
                "cents wander_cents slow named_from"  # `slow` is not kept
            ),
        ),
        (Bounded, "pipe start_s end_s level_db flags partials name_sureness beat_hz bound"),
        (Withheld, "pipe start_s end_s level_db flags partials name_sureness beat_hz"),
        (Bound, "near_hz bound_cents either"),
        (Either, "hz sigma_cents"),
        (Key, "semitone split"),
        (PipeRef, "rank number"),
        (
            Plan,
            (
                "minutes reference items cost_before cost_after cost_bound minutes_used curve "
                "walk_minutes walk_bound_minutes notes"
            ),
        ),
        (Reference, "division shift_cents air_celsius event_celsius"),
        (RegistrationUse, "stops seconds keys words"),
        (EventUse, "registrations"),
        (PlanItem, "order pipe cents target_hz move minutes why gain"),
        (CurvePoint, "minutes cost"),
        (Conditions, "air_celsius humidity wind_mm noted_at id"),
        (Tick, "uid visit_id pipe state note at device received_at"),
    ],
)
def test_a_new_field_of_a_type_is_not_dropped_unseen(of, known):
    # The tables name every field; who adds one adds its column, its migration, and its name here.
    assert [field.name for field in dataclasses.fields(of)] == known.split()
