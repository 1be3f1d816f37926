"""Small makers of what a book keeps, with telling values rather than many."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from walkboard.listening.readings import Measured, Withheld
from walkboard.listening.types import ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.planning.plan import CurvePoint, Plan, PlanItem, Reference
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading

MORNING = datetime(2031, 3, 1, 9, 0, tzinfo=UTC)
DESCRIPTION = 'format = 1\nname = "Harbour Hall"\n'
VERSION = "0.1.0"
PRINCIPAL = "great.principal4"


class Clock:
    """A clock that advances by a second at every look, so that order shows."""

    def __init__(self, start: datetime = MORNING) -> None:
        self.now = start

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


def a_reading(number: int = 1, *, cents: float | None = 1.25, sigma: float = 0.06) -> Reading:
    start_s = 4.0 * number
    if cents is None:
        flags = (ReadingFlag.SILENT,)
        return Withheld(
            pipe=PipeRef(PRINCIPAL, number), start_s=start_s, end_s=start_s, flags=flags
        )
    hz = 130.81278265 * 2.0 ** ((100.0 * (number - 1) + cents) / 1200.0)
    return Measured(
        pipe=PipeRef(PRINCIPAL, number),
        hz=hz,
        sigma_cents=sigma,
        cents=cents,
        level_db=-23.1,
        start_s=start_s + 0.5,
        end_s=start_s + 3.1,
        wander_cents=0.12,
    )


def a_hold(number: int = 1, *readings: Reading) -> Hold:
    start_s = 4.0 * number
    return Hold(
        n=number,
        key=Key(35 + number),
        key_number=number,
        start_s=start_s,
        end_s=start_s + 3.5,
        readings=readings or (a_reading(number),),
    )


def a_walk(*holds: Hold, file: str = "walk.flac") -> HeardWalk:
    return HeardWalk(
        file=file,
        sound=SoundInfo(seconds=271.4, sample_rate=48_000, channels=1, format="FLAC, 24 bit"),
        organ="Harbour Hall",
        drawn=(PRINCIPAL,),
        air_celsius=17.2,
        holds=holds or tuple(a_hold(number) for number in range(1, 4)),
        silent_keys=(Key.parse("F#3"),),
    )


def a_sound(folder: Path, name: str = "walk.flac", content: bytes = b"fLaC, so to say") -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def a_plan(*numbers: int) -> Plan:
    items = tuple(
        PlanItem(
            order=order,
            pipe=PipeRef(PRINCIPAL, number),
            cents=-7.2,
            target_hz=369.4,
            move="sharper",
            minutes=0.9,
            why="7 cents flat of the flues, loud, in the tenor",
        )
        for order, number in enumerate(numbers or (2, 1), start=1)
    )
    return Plan(
        minutes=120.0,
        reference=(Reference("great", 4.8, 17.6),),
        items=items,
        cost_before=812.4,
        cost_after=96.0,
        cost_bound=95.9,
        minutes_used=118.5,
        curve=(CurvePoint(0.0, 812.4), CurvePoint(10.0, 640.2)),
    )


def renamed(walk: HeardWalk, file: str) -> HeardWalk:
    return replace(walk, file=file)


def old_tables(folder: Path, revision: str) -> None:
    """Make the database file of an empty book as an older program did."""
    from walkboard.book.database.sqlite import SqliteDatabase
    from walkboard.book.migrating import build_tables

    database = SqliteDatabase(folder)
    database.create()
    build_tables(database, revision=revision)
