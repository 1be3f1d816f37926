"""What every command and page costs as the book grows over the years, beside a book of 6 visits.

The hall with 6, 60 and 600 visits of five recordings each: rows are written straight into the
tables, with eight partials a reading; sound files are a few bytes. Processor time of the whole
process, starting included, and its largest memory. Then the speed of the check with large files.
Run: python -m bench growth (all three), or with sizes: GROWTH=6,60.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

import numpy as np
import psutil

from bench._firm import fact_uid
from walkboard.book import create_book, open_book
from walkboard.book.files.folder import DATABASE
from walkboard.book.records import Conditions
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz

SIZES = (6, 60, 600)
RECORDINGS = 5  # a visit
SOUND_FILES, SOUND_BYTES = 60, 20_000_000  # of a walk in FLAC, for the speed of the check
BETWEEN = timedelta(days=24)
PORT = 8795
_COMMAND = "from walkboard.cli.start import start; start()"
# The last visit was opened yesterday, so that at every size one event is to come.
LAST = datetime.now(UTC).replace(hour=9, minute=0, second=0, microsecond=0) - timedelta(days=1)
COMMANDS = (
    ("book show", ["book", "show", "BOOK"]),
    ("book search", ["book", "search", "BOOK", "reeds"]),
    ("book check", ["book", "check", "BOOK"]),
    ("book export .json", ["book", "export", "BOOK", "OUT.json"]),
    ("book export .csv", ["book", "export", "BOOK", "OUT.csv", "--table", "readings"]),
    ("book export .xlsx", ["book", "export", "BOOK", "OUT.xlsx"]),
    ("visit list", ["visit", "list", "BOOK"]),
    ("visit recordings", ["visit", "recordings", "BOOK"]),
    ("visit readings", ["visit", "readings", "BOOK"]),
    ("visit state", ["visit", "state", "BOOK"]),
    ("visit note", ["visit", "note", "BOOK", "dry"]),
    ("fault list", ["fault", "list", "BOOK"]),
    ("event list", ["event", "list", "BOOK"]),
    ("first-keys, first time", ["first-keys", "BOOK"]),
    ("first-keys, again", ["first-keys", "BOOK"]),
    ("readiness", ["readiness", "BOOK"]),
)
PAGES = (
    "/organ/1",
    "/organ/1/rank/great.principal8",
    "/organ/1/rank/great.principal8?pipe=20",
    "/organ/1/visit",
    "/organ/1/visit/listen",
    "/organ/1/visit/plan",
    "/organ/1/faults",
    "/organ/1/calendar",
    "/organ/1/book",
    "/organ/1/book/visit/2",
    "/organs",
)


def main() -> None:
    """Build each book, time everything, print the table."""
    sizes = [int(size) for size in os.environ.get("GROWTH", "").split(",") if size] or list(SIZES)
    rows: dict[str, dict[int, str]] = {}
    with tempfile.TemporaryDirectory() as temporary:
        for visits in sizes:
            folder = Path(temporary) / f"book-{visits}"
            begun_s = time.perf_counter()
            make(folder, visits)
            size_mb = (folder / DATABASE).stat().st_size / 1e6
            print(
                f"{visits} visits: {size_mb:.0f} MB, made in {time.perf_counter() - begun_s:.0f} s",
                flush=True,
            )
            for name, words in COMMANDS:
                out = str(Path(temporary) / "out")
                asked = [str(folder) if w == "BOOK" else w.replace("OUT", out) for w in words]
                rows.setdefault(name, {})[visits] = _row_text(*_run(asked))
            for page, seconds in _pages(folder):
                rows.setdefault(page, {})[visits] = f"{seconds:6.2f} s"
        print(_check_rate(Path(temporary)), flush=True)
    print(f"{'':40}" + "".join(f"{visits:>22} visits" for visits in sizes))
    for name, found in rows.items():
        print(f"{name:40}" + "".join(f"{found[visits]:>29}" for visits in sizes))


def _check_rate(folder: Path) -> str:
    """How fast the check reads recordings, beside plain reading of the same files.

    The files are in the memory of the system already, so that no disk is measured.
    """
    place, random = folder / "sound", np.random.default_rng(3)
    create_book(place, clock=lambda: LAST).close()
    paths = []
    with closing(sqlite3.connect(place / DATABASE)) as database, database:
        for _ in range(SOUND_FILES):
            content = random.bytes(SOUND_BYTES)
            sha256 = hashlib.sha256(content).hexdigest()
            path = place / "recordings" / sha256[:2] / f"{sha256}.flac"
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content)
            paths.append(path)
            database.execute("INSERT INTO sound VALUES (?, 'flac', ?)", (sha256, len(content)))

    def read() -> None:
        for path in paths:
            with path.open("rb") as stream:
                while stream.read(1 << 20):
                    pass

    def check() -> None:
        with open_book(place, clock=lambda: LAST) as book:
            if book.check_files():
                raise RuntimeError("the recordings that were written are not whole")

    megabytes, ways = SOUND_FILES * SOUND_BYTES / 1e6, (read, check)
    took_s = dict.fromkeys(ways, float("inf"))
    for _ in range(3):
        for way in ways:
            begun_s = time.process_time()
            way()
            took_s[way] = min(took_s[way], time.process_time() - begun_s)
    read_rate, check_rate = (megabytes / took_s[way] for way in ways)
    return (
        f"{SOUND_FILES} recordings of {SOUND_BYTES / 1e6:.0f} MB, by processor time: read"
        f" {read_rate:.0f} MB/s, checked {check_rate:.0f} MB/s"
    )


def _row_text(processor_s: float, megabytes: float, code: int) -> str:
    return f"{processor_s:6.2f} s {megabytes:5.0f} MB" + (f" ({code})" if code else "")


def _run(words: list[str]) -> tuple[float, float, int]:
    process = subprocess.Popen(
        [sys.executable, "-c", _COMMAND, *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0, process.returncode


def _pages(folder: Path) -> list[tuple[str, float]]:
    """Processor time of the desk for each page, asked for the first time."""
    found = []
    with subprocess.Popen(
        [sys.executable, "-c", _COMMAND, "desk", str(folder), "--port", str(PORT)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as process:
        try:
            desk = psutil.Process(process.pid)
            _wait_for(f"http://127.0.0.1:{PORT}/organs")
            for page in PAGES:
                _wait_until_idle(desk)
                before = desk.cpu_times()
                with urlopen(f"http://127.0.0.1:{PORT}{page}") as answer:
                    answer.read()
                after = desk.cpu_times()
                found.append((page, after.user + after.system - before.user - before.system))
        finally:
            process.terminate()
    return found


def _wait_for(address: str) -> None:
    for _ in range(600):
        try:
            with urlopen(address) as answer:
                answer.read()
            return
        except URLError:
            time.sleep(0.1)
    raise RuntimeError(f"no answer from {address}")


def _wait_until_idle(desk: psutil.Process) -> None:
    """Until what the desk does in the background is done, so that a page's own cost is seen."""
    for _ in range(1200):
        if desk.cpu_percent(interval=0.3) < 2.0:
            return


def make(folder: Path, visits: int) -> None:
    """A book of the hall with so many visits, the last one open.

    Parameters
    ----------
    folder : Path
        The new folder; must not exist.
    visits : int
    """
    description = examples.hall()
    organ = read_organ(description)
    clock = iter(range(10**9))
    first = LAST - BETWEEN * (visits - 1)
    with create_book(folder, clock=lambda: first + timedelta(seconds=next(clock))) as book:
        book.add_organ(organ.name, description)
        air = {d.id: 17.0 for d in organ.divisions}
        book.open_visit(1, "spring, reeds first", minutes=120.0, conditions=Conditions(air, 0.55))
    _rows(folder, organ, visits)
    with open_book(folder, clock=lambda: LAST + timedelta(hours=4)) as book:
        if book.check():
            raise RuntimeError("the book that was made is not whole")


def _rows(folder: Path, organ: Organ, visits: int) -> None:
    random = np.random.default_rng(11)
    pitch = {rank.id: 0.0 for rank in organ.ranks}
    hearing = hold = 0
    count = Counter[str]()
    with closing(sqlite3.connect(folder / DATABASE)) as database, database:
        columns = {
            table: [row[1] for row in database.execute(f"PRAGMA table_info({table})")]
            for table in ("visit", "recording", "sound", "hearing", "hold", "reading", "tick",
                          "conditions", "division_conditions", "fault", "fault_link", "event",
                          "fault_mending")
        }  # fmt: skip

        def add(table: str, **given: object) -> None:
            if "fact_uid" in columns[table]:
                count[table] += 1
                given["fact_uid"] = fact_uid(count[table])
            names = [name for name in columns[table] if name in given]
            marks = ", ".join("?" * len(names))
            quoted = ", ".join(f'"{name}"' for name in names)
            database.execute(
                f"INSERT INTO {table} ({quoted}) VALUES ({marks})",
                [given[name] for name in names],
            )

        for n in range(1, visits + 1):
            at = LAST - BETWEEN * (visits - n)
            closed = None if n == visits else _at(at + timedelta(hours=3))
            if n == 1:
                database.execute("UPDATE visit SET closed_at = ?", (closed,))
            else:
                add("visit", id=n, organ_id=1, description_id=1, purpose=f"visit {n}, reeds first",
                    minutes=120.0, opened_at=_at(at), closed_at=closed,
                    closing_note="")  # fmt: skip
                add("conditions", id=n, visit_id=n, noted_at=_at(at), humidity=0.55)
                for division in organ.divisions:
                    add("division_conditions", conditions_id=n, division=division.id,
                        air_celsius=17.0, wind_mm=None)  # fmt: skip
            for place in range(RECORDINGS):
                rank = organ.ranks[(n * RECORDINGS + place) % len(organ.ranks)]
                stop = next(s.id for s in organ.stops if any(p.rank == rank.id for p in s.plays))
                pitch[rank.id] += float(random.normal(0.0, 0.5))
                hearing += 1
                content = f"{n} {place}".encode()
                sha256 = hashlib.sha256(content).hexdigest()
                path = folder / "recordings" / sha256[:2] / f"{sha256}.flac"
                path.parent.mkdir(exist_ok=True)
                path.write_bytes(content)
                add("sound", sha256=sha256, extension="flac", bytes=len(content))
                add("recording", id=hearing, visit_id=n, sha256=sha256, file_name="walk.flac",
                    recorded_at=None, kept_at=_at(at + timedelta(minutes=place)))  # fmt: skip
                add("hearing", id=hearing, recording_id=hearing, description_id=1,
                    program_version="0", heard_at=_at(at + timedelta(minutes=place)),
                    file="walk.flac", seconds=250.0, sample_rate=48_000, channels=1,
                    format="FLAC, 24 bit", organ=organ.name, drawn=f'["{stop}"]', air_celsius=17.0,
                    silent_keys="[]", warnings="[]")  # fmt: skip
                for number in range(1, rank.pipes + 1):
                    hold += 1
                    cents = pitch[rank.id] + float(random.normal(0.0, 2.0))
                    hz = target_hz(organ, PipeRef(rank.id, number), 17.0) * 2.0 ** (cents / 1200.0)
                    add("hold", id=hold, hearing_id=hearing, position=number - 1, n=number,
                        semitone=rank.key_of(number).semitone, key_number=number,
                        start_s=4.0 * number, end_s=4.0 * number + 3.5, sureness=1.0,
                        flags="[]")  # fmt: skip
                    add("reading", hold_id=hold, position=0, rank=rank.id, number=number, hz=hz,
                        sigma_cents=0.05, cents=cents, level_db=-20.0, start_s=4.0 * number,
                        end_s=4.0 * number + 3.0, wander_cents=0.1, flags="[]",
                        partial_numbers="[1, 2, 3, 4, 5, 6, 7, 8]",
                        partial_levels_db=str(random.normal(-40.0, 9.0, 8).round(3).tolist()),
                        )  # fmt: skip
                    if number % 6 == 0 and closed is not None:
                        pitch[rank.id] *= 0.98
                        add("tick", uid=f"{hearing} {number}", visit_id=n, rank=rank.id,
                            number=number, state="done", note="", at=_at(at + timedelta(hours=2)),
                            received_at=_at(at + timedelta(hours=2)))  # fmt: skip
            add("fault", id=n, organ_id=1, kind="cipher", words=f"reed speaks late, {n}",
                reported_at=_at(at))  # fmt: skip
            add("fault_link", fault_id=n, linked_at=_at(at))
            if n < visits - 5:
                add("fault_mending", fault_id=n, visit_id=n, note="", mended_at=_at(at))
            add("event", id=n, organ_id=1, uid=f"e{n}", starts_at=_at(at + timedelta(days=3)),
                title="Recital", stops="[]", air_celsius=19.0, cancelled=0,
                kept_at=_at(at))  # fmt: skip


def _at(instant: datetime) -> str:
    return instant.isoformat(timespec="microseconds")
