"""More kinds of input: files of the firm, of the air, of other folders, and books themselves."""

from __future__ import annotations

import io
import json
import shutil
import tempfile
import zipfile
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from random import Random

import openpyxl

from tests.book.making import DESCRIPTION, Clock, a_plan, a_walk
from walkboard.book import create_book, open_book
from walkboard.book.database.address import read_address
from walkboard.book.files.folder import ADDRESS, DATABASE
from walkboard.survey.hear.to_json import walk_to_json
from walkboard.work.conditions.logger_csv import read_log_file
from walkboard.work.organ_from import text_of_stops
from walkboard.work.rounds.firm_file import read_firm
from walkboard.work.rounds.to_json import read_round
from walkboard.work.surveys import load_schedule
from walkboard.work.walk_files import load_walks

DEEP = "[" * 50_000
LONG = "9" * 5_000  # Python refuses whole numbers of more than 4,300 digits
_FIRM = """format = 1
[[tuner]]
name = "Ada"
home = "Easton"
hours_a_week = 12
off = [{first = 2031-01-13, last = 2031-01-19}]
[[town]]
name = "Easton"
latitude = 52.0
longitude = 0.0
[[driving]]
between = ["Easton", "Easton"]
minutes = 90
[[organ]]
name = "Chapel"
town = "Easton"
hours = 3
"""


def firm(random: Random) -> bytes:
    """A firm's file."""
    return _with_odd_lines(random, _FIRM)


def read_a_firm(data: bytes, folder: Path) -> object:
    """As the round does."""
    return read_firm(_file(data, folder / "firm.toml"))


def address(random: Random) -> bytes:
    """A book's folder of which the records are on a server."""
    return _with_odd_lines(random, 'database = "postgresql://user@localhost/book"\n')


def read_an_address(data: bytes, folder: Path) -> object:
    """As every command does first."""
    _file(data, folder / ADDRESS)
    return read_address(folder)


def air_log(random: Random) -> bytes:
    """A logger's file."""
    between = random.choice(",;\t|")
    lines = [between.join(("n", "time", "temp °C", "humidity"))]
    for n in range(random.randrange(2, 60)):
        year = random.choice((2031, 2031, 2031, 1, 9999))
        at = f"{year:04}-01-{1 + n % 31:02} {n % 25:02}:{n % 61:02}:00"
        at = random.choice((at, at, at, f"1{n:09}", "31.02.2031 10:00", f"{at}+14:00"))
        cell = random.choice(("17.5", "17,5", "", "-", "nan", "1e400", '"', "--", "55"))
        lines.append(between.join((str(n), at, cell, "55")))
    return "\n".join(lines).encode()


def read_an_air_log(data: bytes, folder: Path) -> object:
    """As the page does with a file that was sent."""
    return read_log_file(_file(data, folder / "air.csv"), place="great", zone=UTC)


def walk_file(random: Random) -> bytes:
    """What ``listen --json`` printed, perhaps several times."""
    document = walk_to_json(a_walk())
    holds = document["holds"]
    assert isinstance(holds, list)
    holds *= random.randrange(3)
    return json.dumps([document] * random.randrange(3)).encode()


def read_a_walk_file(data: bytes, folder: Path) -> object:
    """As ``plan`` does."""
    return load_walks([_file(data, folder / "walk.json")])


def round_(random: Random) -> bytes:
    """A round that was written before."""
    visit = {
        "organ": "Chapel", "town": "Easton", "tuner": "Ada", "week": "2031-01-13", "hours": 3.0,
        "gain": 0.5, "serves": [],
    }  # fmt: skip
    return json.dumps({"format": 1, "visits": [visit] * random.randrange(3)}).encode()


def read_a_round(data: bytes, folder: Path) -> object:
    """As ``round --before`` does."""
    return read_round(_file(data, folder / "round.json"))


def read_a_schedule(data: bytes, folder: Path) -> object:
    """As ``listen --schedule`` does."""
    return load_schedule(_file(data, folder / "walk.mid"))


@cache
def _a_book() -> bytes:
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "book"
        with create_book(folder, clock=Clock()) as book:
            organ = book.add_organ("Harbour Hall", DESCRIPTION)
            visit = book.open_visit(organ.id, "spring", minutes=60.0)
            sound = _file(b"fLaC", Path(temporary) / "walk.flac")
            book.keep_recording(visit.id, sound, a_walk(), program_version="0")
            book.keep_plan(visit.id, a_plan())
            book.report_fault(organ.id, "cipher", "sounds on")
            book.keep_event(organ.id, "e", datetime(2031, 5, 1, tzinfo=UTC), "Recital")
        return (folder / DATABASE).read_bytes()


def database(_: Random) -> bytes:
    """The database of a book, before the disk damages it."""
    return _a_book()


def use_a_database(data: bytes, folder: Path) -> None:
    """Open the book, check it, read it, and write to it."""
    place = folder / "book"
    (place / "recordings").mkdir(parents=True)
    try:
        _file(data, place / DATABASE)
        with open_book(place, clock=Clock()) as book:
            book.check()
            for kept in book.organs():
                for visit in book.visits(kept.id):
                    book.readings(visit.id)
                    book.add_note(visit.id, "after the damage")
            book.export_json(folder / "out.json")
    finally:
        shutil.rmtree(place)


@cache
def _workbook() -> dict[str, bytes]:
    made, out = openpyxl.Workbook(), io.BytesIO()
    for line in ("Great C-g3", "Principal 8", "Mixture IV", "Swell", "Gedackt 8"):
        made.active.append(line.rsplit(" ", 1))
    made.save(out)
    with zipfile.ZipFile(out) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def workbook(random: Random) -> bytes:
    """A workbook with a stop list, one of its files damaged or left out before it was packed."""
    parts = dict(_workbook())
    name = random.choice(list(parts))
    at = random.randrange(len(parts[name]))
    odd = (b"", b"<", b"&e;", b'"', b"</row>", b't="s"', b"1e999", b"A0", b"ZZZZ9", b"\x00", b"99")
    for _ in range(random.randrange(4)):
        parts[name] = parts[name][:at] + random.choice(odd) + parts[name][at + 3 :]
    if random.random() < 0.1:
        del parts[name]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", random.choice((zipfile.ZIP_STORED, zipfile.ZIP_LZMA))) as packed:
        for name, part in parts.items():
            packed.writestr(name, part)
    return out.getvalue()


def read_a_workbook(data: bytes, _: Path) -> object:
    """As the page of stop lists does."""
    return text_of_stops(data, "stops.xlsx")


def _with_odd_lines(random: Random, text: str) -> bytes:
    lines = text.splitlines()
    for _ in range(random.randrange(3)):
        n = random.randrange(len(lines))
        name, equals, _ = lines[n].partition("=")
        odd = random.choice(
            (DEEP, LONG, "nan", "-1", '""', "[]", "{}", "2031-02-30", "1e999", '"http://[::1"')
        )
        lines[n] = f"{name}= {odd}" if equals else random.choice(lines)
    return "\n".join(lines).encode()


def _file(data: bytes, path: Path) -> Path:
    path.write_bytes(data)
    return path
