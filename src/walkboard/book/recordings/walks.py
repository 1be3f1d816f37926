"""Stores a heard walk as rows and reads it back unchanged."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

from sqlalchemy import Row, Text, or_, select, type_coerce
from sqlalchemy.orm import Session

from walkboard.book.models import HearingRow, HoldRow, ReadingRow
from walkboard.book.records import HearingChange
from walkboard.book.rows.values import number, number_or_none
from walkboard.listening.readings import Fields, fields_of, reading_from_fields
from walkboard.listening.types import HoldFlag, Partial, ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading
from walkboard.survey.recognise.to_json import HeardGiven, heard_from, heard_to_json
from walkboard.survey.recognise.verdict import Heard

_ROWS_AT_ONCE = 500  # held in memory while reading all. Chosen.


def fill_hearing(row: HearingRow, walk: HeardWalk) -> None:
    """Write a walk, with its holds and readings, into a new row.

    Raises
    ------
    BookError
        If a number is not finite.
    """
    row.file = walk.file
    row.seconds = number(walk.sound.seconds, "The recording's length")
    row.sample_rate = int(walk.sound.sample_rate)
    row.channels = int(walk.sound.channels)
    row.format = walk.sound.format
    row.organ = walk.organ
    row.drawn = tuple(walk.drawn)
    row.air_celsius = number_or_none(walk.air_celsius, "The air")
    row.silent_keys = tuple(key.name for key in walk.silent_keys)
    row.warnings = tuple(walk.warnings)
    row.not_held = tuple(key.name for key in walk.not_held)
    row.unsure_keys = tuple(key.name for key in walk.unsure_keys)
    row.heard = None
    if walk.heard is not None:
        row.heard = json.dumps(heard_to_json(walk.heard), ensure_ascii=False, allow_nan=False)
    row.holds = [_hold_row(position, hold) for position, hold in enumerate(walk.holds)]


def walk_of(row: HearingRow) -> HeardWalk:
    """The walk stored in a row."""
    return HeardWalk(
        file=row.file,
        sound=SoundInfo(row.seconds, row.sample_rate, row.channels, row.format),
        organ=row.organ,
        drawn=row.drawn,
        air_celsius=row.air_celsius,
        holds=tuple(_hold_of(hold) for hold in row.holds),
        silent_keys=tuple(Key.parse(name) for name in row.silent_keys),
        warnings=row.warnings,
        heard=_heard_of(row.heard),
        not_held=tuple(Key.parse(name) for name in row.not_held),
        unsure_keys=tuple(Key.parse(name) for name in row.unsure_keys),
    )


def clock_of(text: str | None) -> float:
    """What the recorder's clock may add to a walk's pitches [cents, 1 σ]; 0 if never stated."""
    heard = _heard_of(text)
    return 0.0 if heard is None or heard.clock is None else heard.clock.sigma_cents


def _heard_of(text: str | None) -> Heard | None:
    return None if text is None else heard_from(HeardGiven.model_validate_json(text))


def read_back(session: Session, recordings: tuple[int, int] | None = None) -> None:
    """Read back everything heard, and discard it.

    What many rows have in common is read once: of thousands of holds and readings only the forms
    that differ. Their numbers are not looked at; the database checks that they are numbers.

    Parameters
    ----------
    session : Session
    recordings : (int, int) or None
        Only those with ids from the first to the second; None for all.

    Raises
    ------
    ValueError, TypeError, LookupError, WalkboardError
        If something cannot be read.
    """
    hearing, hold, reading = HearingRow.__table__, HoldRow.__table__, ReadingRow.__table__
    hearings = select(hearing)
    holds = select(*hold.c["semitone", "split", "flags"]).distinct()
    readings = select(*reading.c["flags", "either_hz", "either_sigma_cents"]).distinct()
    # Not distinct: the partials of no two readings are alike.
    numbers, levels_db = reading.c.partial_numbers, reading.c.partial_levels_db
    partials = select(type_coerce(numbers, Text), type_coerce(levels_db, Text)).where(
        or_(numbers != (), levels_db != ())
    )
    if recordings is not None:
        within = hearing.c.recording_id.between(*recordings)
        hearings = hearings.where(within)
        holds = holds.join(hearing, hold.c.hearing_id == hearing.c.id).where(within)
        readings, partials = (
            query.join(hold, reading.c.hold_id == hold.c.id)
            .join(hearing, hold.c.hearing_id == hearing.c.id)
            .where(within)
            for query in (readings, partials)
        )
    for row in session.execute(hearings):
        SoundInfo(row.seconds, row.sample_rate, row.channels, row.format)
        for name in (*row.silent_keys, *row.not_held, *row.unsure_keys):
            Key.parse(name)
        _heard_of(row.heard)
        HearingChange(row.change)
    for row in session.execute(holds):
        key_of(row)
        for flag in row.flags:
            HoldFlag(flag)
    for row in session.execute(readings):
        _flags_of(row.flags)
        _two_of(row.either_hz)
        _two_of(row.either_sigma_cents)
    for row in session.execute(partials, execution_options={"yield_per": _ROWS_AT_ONCE}):
        _read_back_partials(*row)


def _read_back_partials(numbers: str, levels_db: str) -> None:
    """As `_partials_of` reads them, at a third of the cost: without an object for each."""
    levels = json.loads(levels_db)
    if len(_partial_numbers(numbers)) != len(levels):
        raise ValueError("not as many levels as partials")
    if not {*map(type, levels)} <= {int, float}:
        raise ValueError(f"not a list of numbers: {levels_db!r}")


@lru_cache(maxsize=1024)
def _partial_numbers(text: str) -> tuple[int, ...]:
    return tuple(int(number) for number in json.loads(text))


def reading_of(row: ReadingRow | Row[Any]) -> Reading:
    """The reading in a row; the row may have just these columns."""
    return reading_from_fields(
        PipeRef(row.rank, row.number),
        Fields(
            hz=row.hz,
            sigma_cents=row.sigma_cents,
            cents=row.cents,
            level_db=row.level_db,
            start_s=row.start_s,
            end_s=row.end_s,
            wander_cents=row.wander_cents,
            flags=_flags_of(row.flags),
            near_hz=row.near_hz,
            bound_cents=row.bound_cents,
            either_hz=_two_of(row.either_hz),
            either_sigma_cents=_two_of(row.either_sigma_cents),
            name_sureness=row.name_sureness,
            beat_hz=row.beat_hz,
            partials=_partials_of(row.partial_numbers, row.partial_levels_db),
        ),
    )


@lru_cache(maxsize=1024)
def _flags_of(words: tuple[str, ...]) -> tuple[ReadingFlag, ...]:
    # Nearly all readings have the same few.
    return tuple(ReadingFlag(word) for word in words)


def _partials_of(numbers: tuple[float, ...], levels_db: tuple[float, ...]) -> tuple[Partial, ...]:
    if not numbers and not levels_db:
        return ()
    return tuple(Partial(int(n), level) for n, level in zip(numbers, levels_db, strict=True))


def _two_of(values: tuple[float, ...] | None) -> tuple[float, float] | None:
    return None if values is None else (values[0], values[1])


def key_of(row: HoldRow | Row[Any]) -> Key | None:
    """The key of a hold."""
    return None if row.semitone is None else Key(row.semitone, row.split)


def _hold_row(position: int, hold: Hold) -> HoldRow:
    return HoldRow(
        position=position,
        n=int(hold.n),
        semitone=None if hold.key is None else int(hold.key.semitone),
        split=hold.key is not None and hold.key.split,
        key_number=None if hold.key_number is None else int(hold.key_number),
        start_s=number(hold.start_s, f"The start of hold {hold.n}"),
        end_s=number(hold.end_s, f"The end of hold {hold.n}"),
        sureness=number(hold.sureness, f"The sureness of hold {hold.n}"),
        flags=tuple(flag.value for flag in hold.flags),
        readings=[_reading_row(place, reading) for place, reading in enumerate(hold.readings)],
    )


def _hold_of(row: HoldRow) -> Hold:
    return Hold(
        n=row.n,
        key=key_of(row),
        key_number=row.key_number,
        start_s=row.start_s,
        end_s=row.end_s,
        readings=tuple(reading_of(reading) for reading in row.readings),
        sureness=row.sureness,
        flags=tuple(HoldFlag(flag) for flag in row.flags),
    )


def _reading_row(position: int, reading: Reading) -> ReadingRow:
    of = f"of the reading of {reading.pipe}"
    values = fields_of(reading)
    return ReadingRow(
        position=position,
        rank=reading.pipe.rank,
        number=int(reading.pipe.number),
        hz=number_or_none(values["hz"], f"The frequency {of}"),
        sigma_cents=number_or_none(values["sigma_cents"], f"The uncertainty {of}"),
        cents=number_or_none(values["cents"], f"The deviation {of}"),
        level_db=number_or_none(values["level_db"], f"The level {of}"),
        start_s=number(values["start_s"], f"The start {of}"),
        end_s=number(values["end_s"], f"The end {of}"),
        wander_cents=number_or_none(values["wander_cents"], f"The wander {of}"),
        flags=tuple(flag.value for flag in values["flags"]),
        near_hz=number_or_none(values["near_hz"], f"The place {of}"),
        bound_cents=number_or_none(values["bound_cents"], f"The bound {of}"),
        either_hz=_numbers_or_none(values["either_hz"], f"The two places {of}"),
        either_sigma_cents=_numbers_or_none(
            values["either_sigma_cents"], f"The two uncertainties {of}"
        ),
        name_sureness=number_or_none(values["name_sureness"], f"The sureness of the name {of}"),
        beat_hz=number_or_none(values["beat_hz"], f"The beat {of}"),
        partial_numbers=tuple(int(partial.number) for partial in values["partials"]),
        partial_levels_db=tuple(
            number(partial.level_db, f"A partial's level {of}") for partial in values["partials"]
        ),
    )


def _numbers_or_none(values: tuple[float, float] | None, what: str) -> tuple[float, ...] | None:
    return None if values is None else tuple(number(value, what) for value in values)
