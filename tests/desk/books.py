"""Books with invented visits, made by calls of the book: no sound is heard for them.

``python -m tests.desk.books hall FOLDER`` makes one of the concert hall, for measuring by hand.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import soundfile

from walkboard.book.keeping import Book
from walkboard.book.opening import create_book
from walkboard.book.records import Conditions, FaultKind, KeptVisit, Tick, TickState
from walkboard.listening.readings import Measured, Withheld
from walkboard.listening.types import ReadingFlag, SoundInfo
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.planning.plan import CurvePoint, Plan, PlanItem, Reference
from walkboard.quantities import ratio_of_cents
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading

VERSION = "0.0.0"
FIRST_DAY = datetime(2031, 3, 4, 9, 0, tzinfo=UTC)
EVENT_CELSIUS = 18.0
FLUES_CENTS = 1.8  # where the invented flues stand as a whole
HOLD_S, GAP_S = 1.5, 0.25
RATE = 16_000


class Calendar:
    """A clock that tests set; it goes on a second at each look."""

    def __init__(self, now: datetime = FIRST_DAY) -> None:
        self.now = now

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


def make_book(folder: Path, description: str, *, visits: int = 3, sounding: int = 1) -> None:
    """A book of one organ with some visits, the last of them open and planned.

    Parameters
    ----------
    folder : Path
        The new folder; must not exist.
    description : str
    visits : int
    sounding : int
        How many ranks of the last visit have a real recording.
    """
    organ = read_organ(description)
    calendar = Calendar(FIRST_DAY - timedelta(days=170 * (visits - 1)))
    with create_book(folder, clock=calendar) as book:
        kept = book.add_organ(organ.name, description)
        state = _State(organ, np.random.default_rng(5))
        for number in range(visits):
            air = {d.id: 16.5 + 0.4 * i + 1.5 * (number % 2) for i, d in enumerate(organ.divisions)}
            visit = book.open_visit(
                kept.id,
                "Before the harvest festival" if number % 2 else "Spring tuning",
                minutes=120.0,
                conditions=Conditions(air, 0.55),
            )
            is_last = number == visits - 1
            _hear(
                book,
                organ,
                visit,
                state,
                air=air,
                folder=folder,
                sounding=sounding if is_last else 0,
            )
            plan = _plan(book, organ, visit, air)
            if not is_last:
                for pipe in plan:
                    book.set_tick(
                        Tick(f"tick-{visit.id}-{pipe}", visit.id, pipe, TickState.DONE.value, "",
                             calendar())
                    )  # fmt: skip
                    state.cents[pipe] = 0.0
                book.close_visit(visit.id, "All done.")
                calendar.now += timedelta(days=170)
                state.drift()
        first = organ.stops[0]
        book.report_fault(kept.id, FaultKind.CIPHER, "Sounds by itself in wet weather",
                          stop=first.id, key="F#3")  # fmt: skip
        book.report_fault(kept.id, FaultKind.SLOW_SPEECH, "Speaks late", stop=first.id)
        book.keep_event(
            kept.id,
            uid="harvest@tarnhaven",
            starts_at=calendar.now + timedelta(days=3),
            title="Harvest festival",
            air_celsius=EVENT_CELSIUS,
        )


class _State:
    """The deviations of an invented organ's pipes."""

    def __init__(self, organ: Organ, rng: np.random.Generator) -> None:
        self._rng = rng
        self.cents = {pipe: float(rng.normal(0.0, 0.8)) for pipe in organ.pipes()}
        self.drift()

    def drift(self) -> None:
        for pipe in self.cents:
            self.cents[pipe] += float(self._rng.normal(0.0, 0.8))
            if self._rng.random() < 0.05:
                self.cents[pipe] += float(self._rng.choice([-9.0, 7.0, 12.0]))


def _hear(
    book: Book,
    organ: Organ,
    visit: KeptVisit,
    state: _State,
    *,
    air: dict[str, float],
    folder: Path,
    sounding: int,
) -> None:
    for index, rank in enumerate(organ.ranks):
        stop = next(s.id for s in organ.stops if any(p.rank == rank.id for p in s.plays))
        celsius = air[rank.division]
        holds, tones = [], []
        for number in range(1, rank.pipes + 1):
            pipe = PipeRef(rank.id, number)
            start = (number - 1) * (HOLD_S + GAP_S)
            cents = state.cents[pipe] + (FLUES_CENTS if rank.family.is_flue else 4.0)
            hz = target_hz(organ, pipe, celsius) * ratio_of_cents(cents)
            reading = _reading(pipe, hz, cents, start, number)
            tones.append((start, hz))
            key = rank.key_of(number)
            holds.append(Hold(number, key, number, start, start + HOLD_S, (reading,), 0.99))
        silent = (Key(rank.key_of(rank.pipes).semitone - 1),) if index == 0 else ()
        length = rank.pipes * (HOLD_S + GAP_S)
        walk = HeardWalk(
            file=f"{rank.id}.flac",
            sound=SoundInfo(length, RATE, 1, "FLAC, 16 bit"),
            organ=organ.name,
            drawn=(stop,),
            air_celsius=celsius,
            holds=tuple(holds),
            silent_keys=silent,
        )
        source = folder / f"incoming-{visit.id}-{rank.id}.flac"
        if index < sounding:
            _sound(source, tones, length)
        else:
            source.write_bytes(f"no sound, {visit.id} {rank.id}".encode())
        book.keep_recording(visit.id, source, walk, program_version=VERSION)
        source.unlink()


def _reading(pipe: PipeRef, hz: float, cents: float, start: float, number: int) -> Reading:
    if number % 23 == 11:
        return Withheld(pipe=pipe, start_s=start, end_s=start, flags=(ReadingFlag.SILENT,))
    flags = (ReadingFlag.UNSTEADY,) if number % 29 == 7 else ()
    sigma = 0.4 if flags else 0.06
    return Measured(
        pipe=pipe,
        hz=hz,
        sigma_cents=sigma,
        cents=cents,
        level_db=-24.0,
        start_s=start + 0.3,
        end_s=start + HOLD_S,
        wander_cents=0.1,
        flags=flags,
    )


def _sound(path: Path, tones: list[tuple[float, float]], length: float) -> None:
    samples = np.zeros(int(length * RATE))
    times = np.arange(int(HOLD_S * RATE)) / RATE
    fade = np.minimum(1.0, np.minimum(times, HOLD_S - times) / 0.02)
    for start, hz in tones:
        at = int(start * RATE)
        for partial in range(1, 9):
            if partial * hz < 0.45 * RATE:
                samples[at : at + len(times)] += (
                    0.1 / partial * fade * np.sin(2.0 * np.pi * partial * hz * times)
                )
    soundfile.write(path, samples, RATE, subtype="PCM_16", format="FLAC")


def _plan(book: Book, organ: Organ, visit: KeptVisit, air: dict[str, float]) -> list[PipeRef]:
    """The strays by size, twelve a division: it need not be the best plan, only a plan."""
    references = tuple(Reference(d.id, FLUES_CENTS, air[d.id]) for d in organ.divisions)
    strays = sorted(
        (
            kept.reading
            for kept in book.best_readings(visit.id).values()
            if isinstance(kept.reading, Measured)
        ),
        key=lambda reading: -abs(reading.cents - FLUES_CENTS),
    )[: 12 * len(organ.divisions)]
    items = tuple(
        PlanItem(
            order=order,
            pipe=reading.pipe,
            cents=reading.cents - FLUES_CENTS,
            target_hz=target_hz(organ, reading.pipe, air[organ.rank(reading.pipe.rank).division])
            * ratio_of_cents(FLUES_CENTS),
            move="flatter" if reading.cents > FLUES_CENTS else "sharper",
            minutes=0.9,
            why="stands away from its chorus",
        )
        for order, reading in enumerate(strays, start=1)
    )
    used = 0.9 * len(items)
    curve = tuple(CurvePoint(m, 800.0 / (1.0 + m / 30.0)) for m in (0.0, 30.0, 60.0, 90.0, 120.0))
    plan = Plan(120.0, references, items, 800.0, 160.0, 159.0, used, curve)
    book.keep_plan(visit.id, plan, event_air_celsius=EVENT_CELSIUS)
    return [item.pipe for item in items]


if __name__ == "__main__":
    make_book(Path(sys.argv[2]), getattr(examples, sys.argv[1])())
