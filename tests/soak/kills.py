"""Kills at random moments of every writing command, ticks from four processes, failing disks."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import sqlite3
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Any

from tests.book.making import DESCRIPTION, PRINCIPAL, a_hold, a_plan, a_walk
from tests.soak.tally import Tally
from walkboard.book import create_book, open_book
from walkboard.book.files.folder import DATABASE
from walkboard.book.files.leftovers import leftovers, remove_leftovers
from walkboard.book.importing import import_book
from walkboard.book.keeping import Book
from walkboard.book.records import Conditions, Tick
from walkboard.errors import BookError, InputError, WalkboardError
from walkboard.organ.model import PipeRef

HARMLESS = ("This recording belongs to no visit.", "A program was killed")
LONGEST_STEP_S = 60.0  # by the clock, on a loaded machine; a step takes milliseconds. Chosen.
_KILLS_A_BOOK = 100


def now() -> datetime:
    return datetime.now(UTC)


def new_book(folder: Path) -> Path:
    with create_book(folder, clock=now) as book:
        organ = book.add_organ("Harbour Hall", DESCRIPTION)
        visit = book.open_visit(organ.id, "spring", minutes=60.0, conditions=Conditions({"a": 17}))
        source = folder.parent / "first.wav"
        source.write_bytes(b"first")
        book.keep_recording(visit.id, source, a_walk(), program_version="0")
    return folder


def write_something(book: Book, random: Random, folder: Path) -> str:
    """One writing command; gives what must be found afterwards, as ``kind token``."""
    token = uuid.uuid4().hex
    pipe = PipeRef(PRINCIPAL, random.randrange(1, 62))
    kind = random.choice(KINDS)
    if kind == "note":
        book.add_note(1, token)
    elif kind == "tick":
        book.set_tick(Tick(token, 1, pipe, random.choice(["done", "open"]), "", now()))
    elif kind == "fault":
        book.report_fault(1, "cipher", token)
    elif kind == "fixed":
        fault = book.report_fault(1, "cipher", f"to fix {token}")
        book.mark_fixed(fault.id, note=token)
    elif kind == "event":
        book.keep_event(1, token, now(), "Recital", air_celsius=18.0)
    elif kind == "weight":
        book.keep_weight(1, PRINCIPAL, random.choice([0.5, 2.0]), token)
    elif kind == "conditions":
        book.note_conditions(1, Conditions({token: 17.5}))
    elif kind == "correction":
        book.correct_visit(1, purpose=token)
    elif kind == "plan":
        book.keep_plan(1, a_plan(*range(1, 20)))
    elif kind == "organ":
        book.add_organ("Harbour Hall", f"# {token}")
    elif kind == "recording":
        source = folder / f"{token}.wav"
        source.write_bytes(token.encode() * random.choice([1, 3_000, 60_000]))
        holds = [a_hold(n) for n in range(1, random.choice([3, 62]))]
        book.keep_recording(1, source, a_walk(*holds), program_version="0")
    elif kind == "relabelled":
        book.relabel_recording(1, a_walk(a_hold(2)), program_version="0", words=token)
    elif kind == "withdrawn":
        book.withdraw_recording(1, "away")
        book.relabel_recording(1, a_walk(a_hold(2)), program_version="0", words=token)
    elif kind == "export":
        book.export_json(folder / f"{token}.json")
    elif kind == "copy":
        book.copy_to(folder / f"copy-{token}")
    return f"{kind} {token}"


KINDS = (
    "note", "tick", "fault", "fixed", "event", "weight", "conditions", "correction", "plan",
    "organ", "recording", "relabelled", "withdrawn", "export", "copy",
)  # fmt: skip


def missing(book: Book, said: list[str], folder: Path) -> list[str]:
    """Of what was reported as kept, what is not in the book."""
    visit = book.visit(1)
    there: dict[str, set[str]] = {
        "note": {note.words for note in visit.notes},
        "tick": {tick.uid for tick in book.ticks(1)},
        "fault": {fault.words for fault in book.faults(1)},
        "fixed": {fault.mended_note for fault in book.faults(1)},
        "event": {event.uid for event in book.events(1)},
        "weight": {one.words for one in book.weight_versions(1, PRINCIPAL)},
        "conditions": {name for noted in visit.conditions for name in noted.air_celsius},
        "correction": {one.purpose for one in visit.corrections},
        "organ": {version.description[2:] for version in book.organ_versions(1)},
        "recording": {one.file_name.removesuffix(".wav") for one in book.recordings(1)},
        "relabelled": {one.words for one in book.hearings(1)},
        "withdrawn": {one.words for one in book.hearings(1)},
        "export": {path.stem for path in folder.glob("*.json") if path.read_text()[-3:] == "}}\n"},
        "copy": {path.name[5:] for path in folder.glob("copy-*") if (path / DATABASE).is_file()},
    }
    lost = []
    for words in said:
        kind, token = words.split()
        if kind != "plan" and token not in there[kind]:
            lost.append(words)
    plans = sum(words.startswith("plan") for words in said)
    if len(book.plans(1)) < plans:
        lost.append(f"{plans - len(book.plans(1))} plans")
    return lost


def kill(random: Random, count: int, folder: Path) -> Tally:
    """Kill a program that writes, so many times, and look for what it reported as kept."""
    tally = Tally("kills of writing commands")
    place, said = folder, list[str]()
    for n in range(count):
        if n % _KILLS_A_BOOK == 0:
            place = folder / f"kills-{n}"
            place.mkdir()
            new_book(place / "book")
            said = []
        tally.tried += 1
        said += _killed(place, random.random() * 0.08, random.getrandbits(32), tally)
        if n % 10 == 9 or n == count - 1:
            _verify(place, said, tally)
        if n % _KILLS_A_BOOK == _KILLS_A_BOOK - 1:
            shutil.rmtree(place)
    return tally


def _killed(place: Path, after_s: float, seed: int, tally: Tally) -> list[str]:
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            random = Random(seed)
            with open_book(place / "book", clock=now) as book:
                os.write(writing, b"ready\n")
                while True:
                    os.write(writing, f"{write_something(book, random, place)}\n".encode())
        except WalkboardError as error:
            os.write(writing, f"refused {error}\n".encode())
        except BaseException as error:
            os.write(writing, f"unclear {type(error).__name__} {error}\n".encode())
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as stream:
        begun = stream.readline()
        time.sleep(after_s)  # the moment of the kill is the test
        os.kill(child, signal.SIGKILL)
        lines = [line.rstrip("\n") for line in stream if line.endswith("\n")]
    os.waitpid(child, 0)
    if begun != "ready\n":
        lines.insert(0, begun.rstrip("\n"))
    odd = [line for line in lines if line.startswith(("unclear", "refused"))]
    for line in odd:
        tally.unclear += 1
        tally.notes.append(f"{tally.name}: {line}")
    return [line for line in lines if line not in odd and line]


def _verify(place: Path, said: list[str], tally: Tally) -> None:
    try:
        with open_book(place / "book", clock=now) as book:
            for words in missing(book, said, place):
                tally.lose(words)
            for problem in book.check():
                if not problem.what.startswith(HARMLESS):
                    tally.lose(f"{problem}")
        left = leftovers(place / "book")
        remove_leftovers(left)
        for stray in (*place.glob("*.wav"), *place.glob("copy-*")):
            if stray.is_file():
                stray.unlink()
    except WalkboardError as error:
        tally.lose(f"the book: {error}")


def ticks(random: Random, count: int, folder: Path) -> Tally:
    """Four processes tick the same pipes at once; every tick is there afterwards."""
    tally = Tally("ticks from four processes")
    new_book(folder / "ticked")
    each = max(1, count // 4)
    children = []
    for device in range(4):
        seed = random.getrandbits(32)
        child = os.fork()
        if child == 0:
            code = 1
            try:
                own = Random(seed)
                with open_book(folder / "ticked", clock=now, wait_s=LONGEST_STEP_S) as book:
                    for n in range(each):
                        pipe = PipeRef(PRINCIPAL, own.randrange(1, 20))
                        book.set_tick(Tick(f"{device} {n}", 1, pipe, "done", "", now(), "phone"))
                code = 0
            finally:
                os._exit(code)
        children.append(child)
    for child in children:
        _, status = os.waitpid(child, 0)
        tally.unclear += os.waitstatus_to_exitcode(status) != 0
    tally.tried = 4 * each
    with open_book(folder / "ticked", clock=now) as book:
        there = {tick.uid for tick in book.ticks(1)}
        for device in range(4):
            for n in range(each):
                if f"{device} {n}" not in there:
                    tally.lose(f"tick {device} {n}")
        if book.check():
            tally.lose("order in the book")
    shutil.rmtree(folder / "ticked")
    return tally


def failing_disk(random: Random, count: int, folder: Path) -> Tally:
    """A disk that fails at some step, or another program that holds the lock."""
    tally = Tally("full, failing, read-only, locked")
    place = folder / "failing"
    place.mkdir()
    new_book(place / "book")
    said: list[str] = []
    for n in range(count):
        number = random.choice((errno.ENOSPC, errno.EIO, errno.EROFS))
        with open_book(place / "book", clock=now, wait_s=0.02) as book:
            trouble = random.choice((_failing, _growing_no_more, _locked))

            def act(book: Book = book, trouble: Any = trouble, number: int = number) -> None:
                with trouble(random, book, number):
                    said.append(write_something(book, random, place))

            tally.attempt(act, f"step {n}")
    _verify(place, said, tally)
    shutil.rmtree(place)
    return tally


@contextmanager
def _failing(random: Random, _book: Book, number: int) -> Iterator[None]:
    """The file system refuses one of the next few steps."""
    left = random.randrange(6)

    def refusing(true: Callable[..., Any]) -> Callable[..., Any]:
        def step(*given: Any, **named: Any) -> Any:
            nonlocal left
            left -= 1
            if left == 0:
                raise OSError(number, os.strerror(number))
            return true(*given, **named)

        return step

    true_fsync, true_replace, true_mkdir = os.fsync, Path.replace, Path.mkdir
    os.fsync = refusing(true_fsync)
    Path.replace = refusing(true_replace)  # type: ignore[method-assign]
    Path.mkdir = refusing(true_mkdir)  # type: ignore[method-assign]
    try:
        yield
    finally:
        os.fsync = true_fsync
        Path.replace = true_replace  # type: ignore[method-assign]
        Path.mkdir = true_mkdir  # type: ignore[method-assign]


@contextmanager
def _growing_no_more(random: Random, book: Book, _number: int) -> Iterator[None]:
    """A database that may not grow (sqlite.org/pragma, max_page_count)."""
    pages = random.choice((0, 1, 5))
    with book._reading() as session:
        has = session.connection().exec_driver_sql("PRAGMA page_count").scalar() or 0
        session.connection().exec_driver_sql(f"PRAGMA max_page_count = {has + pages}")
    yield
    book._engine.dispose()


@contextmanager
def _locked(_random: Random, book: Book, _number: int) -> Iterator[None]:
    """Another program that writes and takes its time."""
    with closing(sqlite3.connect(book.path / DATABASE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield
        with suppress(sqlite3.Error):
            other.execute("ROLLBACK")


def kill_builders(random: Random, count: int, folder: Path) -> Tally:
    """Kill `new` and `import` while they build; there is a whole book afterwards, or none."""
    tally = Tally("kills of new and import")
    source = folder / "source"
    new_book(source)
    with open_book(source, clock=now) as book:
        book.export_json(folder / "export.json")
    for n in range(count):
        target = folder / f"built-{n}"
        tally.tried += 1
        child = os.fork()
        if child == 0:
            try:
                if n % 2:
                    create_book(target, clock=now).close()
                else:
                    sounds = source / "recordings"
                    import_book(
                        folder / "export.json", target, clock=now, recordings=sounds
                    ).close()
            finally:
                os._exit(0)
        time.sleep(random.random() * 0.3)  # the moment of the kill is the test
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        if target.exists():
            try:
                with open_book(target, clock=now) as built:
                    for problem in built.check():
                        if not problem.what.startswith(HARMLESS):
                            tally.lose(f"half a book at {n}: {problem}")
            except (BookError, InputError) as error:
                tally.lose(f"half a book at {n}: {error}")
            shutil.rmtree(target)
        remove_leftovers(leftovers(target))
    return tally
