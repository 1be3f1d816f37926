"""Inputs of every kind: made by their own grammar, damaged, and given to what reads them."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache, partial
from pathlib import Path
from random import Random

import numpy as np
import soundfile

from tests.book.making import DESCRIPTION, Clock, a_plan, a_walk
from tests.condition.organs import small_organ
from tests.soak import other_inputs as other
from tests.soak.tally import Tally
from walkboard.book import create_book
from walkboard.book.importing import import_book
from walkboard.capture.recording import repair_recording
from walkboard.listening.sound.recording import open_sound
from walkboard.organ import examples
from walkboard.organ.reading import read_organ
from walkboard.survey.hear.to_json import walk_from_json, walk_to_json
from walkboard.work.calendar.files import read_calendar
from walkboard.work.calendar.music import read_music
from walkboard.work.calendar.values import Horizon
from walkboard.work.live.log import read_log
from walkboard.work.organ_from import organ_from_stops, read_stops

HORIZON = Horizon(
    datetime(2031, 1, 1, tzinfo=UTC), datetime(2031, 1, 1, tzinfo=UTC) + timedelta(days=430), UTC
)
_ODD_NUMBERS = ("0", "-1", "1e400", "nan", "9" * 40, "2147483648", "0.5", "-0", "65536", "1e-320")
_ODD_TEXTS = ('"', "\\ud800", "\x00", "é" * 300, "'; DROP", "../../x", "\u202e", "", "[[", "#")


@dataclass(frozen=True)
class Kind:
    """A kind of input file.

    Attributes
    ----------
    name : str
    make : callable
        A plausible file.
    read : callable
        What the program does with it; gets the bytes and a folder of its own.
    tokens : sequence of bytes
        Words of its grammar, for damage that looks like sense.
    """

    name: str
    make: Callable[[Random], bytes]
    read: Callable[[bytes, Path], object]
    tokens: Sequence[bytes]


def damaged(random: Random, data: bytes, tokens: Sequence[bytes]) -> bytes:
    """A file after a few flipped bits, cuts, repeats, or words in the wrong place."""
    out = bytearray(data)
    for _ in range(random.choice((0, 1, 1, 2, 4, 12))):
        at = random.randrange(len(out) + 1)
        match random.randrange(7):
            case 0 if out:
                out[at % len(out)] ^= 1 << random.randrange(8)
            case 1:
                del out[at : at + random.choice((1, 4, 64, 4096))]
            case 2:
                out[at:at] = out[at : at + random.choice((1, 16, 256))] * random.choice((1, 2, 30))
            case 3:
                out[at:at] = random.choice(tokens)
            case 4:
                out[at:at] = random.choice((*_ODD_NUMBERS, *_ODD_TEXTS)).encode(
                    "utf-8", "surrogatepass"
                )
            case 5:
                out[at : at + 4] = random.choice((bytes(4), b"\xff" * 4, b"\x7f\xff\xff\xff"))
            case _:
                if random.random() < 0.2:
                    del out[at:]
    return bytes(out)


def _description(random: Random) -> bytes:
    text = random.choice((examples.village(), examples.hall()))
    lines = text.splitlines()
    for _ in range(random.randrange(6)):
        n = random.randrange(len(lines))
        name, equals, _ = lines[n].partition("=")
        if equals:
            odd = random.choice((*_ODD_NUMBERS, '"swell"', "[]", "{}", "true", '"2 2/3"', '"C2"'))
            lines[n] = f"{name}= {odd}"
        else:
            lines[n] = random.choice(lines)
    return "\n".join(lines).encode()


def _stops(random: Random) -> bytes:
    names = ("Principal", "Gedackt", "Mixture", "Trumpet", "Zimbel", "Celeste", "Flûte", "§§")
    feet = ("8", "4'", "2 2/3", "16′", "IV", "1 1/3 ft", "0", "-8", "III-V", "8 8")
    lines = ["Great C-g3"]
    for _ in range(random.randrange(1, 25)):
        lines.append(f"{random.choice(names)} {random.choice(feet)}")
        if random.random() < 0.15:
            lines.append(random.choice(("Swell", "Pedal C-f1", "Couplers: Sw/Gt", "", "Tremulant")))
    return "\n".join(lines).encode()


def _calendar(random: Random) -> bytes:
    def stamp() -> str:
        year = random.choice((2031, 2031, 2030, 1, 1900, 9999, 2200))
        day = f"{random.randrange(1, 13):02}{random.randrange(1, 32):02}"
        zone = random.choice(
            (":", ":", ";TZID=America/New_York:", ";VALUE=DATE:", ";TZID=Nowhere:")
        )
        clock = "" if "DATE" in zone else f"T{random.randrange(24):02}3000"
        return f"{zone}{year:04}{day}{clock}{random.choice(('', 'Z'))}"

    def rule() -> str:
        parts = [f"FREQ={random.choice(('DAILY', 'WEEKLY', 'MONTHLY', 'YEARLY', 'HOURLY'))}"]
        for name, most in (
            ("INTERVAL", 4), ("COUNT", 99999), ("BYMONTH", 14), ("BYMONTHDAY", 33), ("BYHOUR", 26),
            ("BYYEARDAY", 370), ("BYWEEKNO", 55), ("BYSETPOS", 400),
        ):  # fmt: skip
            if random.random() < 0.2:
                parts.append(f"{name}={random.choice((0, 1, -1, random.randrange(-most, most)))}")
        if random.random() < 0.3:
            parts.append(f"BYDAY={random.choice(('MO', '1FR', '-1SU', '99TU', 'XX', 'MO,TU,WE'))}")
        if random.random() < 0.2:
            parts.append(f"UNTIL{stamp().replace(':', '=', 1)}")
        return ";".join(parts)

    lines = ["BEGIN:VCALENDAR", "VERSION:2.0"]
    for n in range(random.randrange(1, 6)):
        lines += ["BEGIN:VEVENT", f"UID:{n % 3}", f"SUMMARY:Recital {n}", f"DTSTART{stamp()}"]
        if random.random() < 0.6:
            lines.append(f"RRULE:{rule()}")
        for name in ("RECURRENCE-ID", "EXDATE", "RDATE", "DTEND"):
            if random.random() < 0.2:
                lines.append(f"{name}{stamp()}")
        lines.append("END:VEVENT")
    return "\r\n".join([*lines, "END:VCALENDAR", ""]).encode()


def _music(random: Random) -> bytes:
    track = bytearray()
    for _ in range(random.randrange(1, 40)):
        track += bytes((random.randrange(128),))
        track += random.choice(
            (
                bytes((0x90 | random.randrange(16), random.randrange(128), random.randrange(128))),
                bytes((0x80 | random.randrange(16), random.randrange(128), 0)),
                b"\xff\x51\x03" + random.randbytes(3),
                b"\xff\x59\x02" + random.randbytes(2),
                b"\xff\x58\x04" + random.randbytes(4),
                b"\xff\x03\x02hi",
                b"\xf0\x02\x01\xf7",
                bytes((0xE0, random.randrange(256), 0)),
            )
        )
    track += b"\x00\xff\x2f\x00"
    head = b"MThd\x00\x00\x00\x06" + bytes((0, random.randrange(3), 0, 1))
    division = random.choice((480, 96, 0, 0x8000 | 0x1900))
    return head + division.to_bytes(2, "big") + b"MTrk" + len(track).to_bytes(4, "big") + track


@cache
def _an_export() -> bytes:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder)
        with create_book(path / "book", clock=Clock()) as book:
            organ = book.add_organ("Harbour Hall", DESCRIPTION)
            visit = book.open_visit(organ.id, "spring", minutes=60.0)
            (path / "walk.flac").write_bytes(b"fLaC")
            book.keep_recording(visit.id, path / "walk.flac", a_walk(), program_version="0")
            book.keep_plan(visit.id, a_plan())
            book.report_fault(organ.id, "cipher", "sounds on")
            book.keep_event(organ.id, "e", datetime(2031, 5, 1, tzinfo=UTC), "Recital")
            book.export_json(path / "book.json")
        return (path / "book.json").read_bytes()


def _export(random: Random) -> bytes:
    document = json.loads(_an_export())
    for _ in range(random.randrange(4)):
        rows = document["tables"][random.choice(list(document["tables"]))]
        if rows:
            row = random.choice(rows)
            name = random.choice(list(row))
            row[name] = random.choice((None, -1, 0, 2**63, 1e308, "x", "[]", "\ud800", row[name]))
    return json.dumps(document).encode()


def _walk(random: Random) -> bytes:
    document = walk_to_json(a_walk())
    places: list[object] = [document, *document["holds"], document["sound"]]
    for _ in range(random.randrange(5)):
        place = random.choice(places)
        assert isinstance(place, dict)
        name = random.choice(list(place))
        place[name] = random.choice((None, -1, 1e308, "C#3", [], {}, True, "nan", [None]))
    return json.dumps(document).encode()


@cache
def _sounds() -> dict[str, bytes]:
    at_s = np.arange(12_000) / 24_000
    samples = 0.3 * np.sin(2 * np.pi * 262.0 * at_s)
    made = {}
    for name, subtype in (
        ("WAV", "PCM_16"), ("FLAC", "PCM_24"), ("OGG", "VORBIS"), ("AIFF", "PCM_16"),
        ("MP3", "MPEG_LAYER_III"), ("CAF", "PCM_16"), ("AU", "PCM_16"), ("W64", "FLOAT"),
    ):  # fmt: skip
        data = io.BytesIO()
        soundfile.write(data, samples, 24_000, format=name, subtype=subtype)
        made[name] = data.getvalue()
    return made


def _sound(random: Random) -> bytes:
    data = random.choice(list(_sounds().values()))
    if random.random() < 0.1:
        at = random.randrange(12, 200)
        return data[:at] + bytes(random.choice((10, 4_000, 400_000)))
    return data


def _log(random: Random) -> bytes:
    head = {"visit_id": 1, "recorded_at": "2031-03-01T09:00:00Z", "air_celsius": 17.0, "stop": "s"}
    lines = [json.dumps(head)]
    for n in range(random.randrange(5)):
        heard = {"hz": 523.0, "sigma_cents": 0.1, "level_db": -20, "start_s": n, "end_s": n + 1}
        lines.append(json.dumps({"pipe": f"great.principal4:{n}", "stop": "s", "after": heard}))
    return "\n".join(lines).encode()


def _file(data: bytes, folder: Path, name: str) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def _import(data: bytes, folder: Path) -> None:
    import_book(_file(data, folder, "book.json"), folder / "book", clock=Clock()).close()
    import shutil

    shutil.rmtree(folder / "book")


_TOML = (b"[[organ]]", b"{", b"[", b"= ", b"\n", other.LONG.encode(), other.DEEP.encode())
_JSON = (b"null", b"{", b"[", b"{}", b"-1", b"NaN", other.LONG.encode(), other.DEEP.encode())
KINDS = (
    Kind("organ descriptions", _description, lambda d, f: read_organ(_text(d, f)),
         (b"[[rank]]", b"[[stop]]", b"breaks = ", b"from = ", b"pipes = 61", b"[[couplers]]")),
    Kind("stop lists", _stops, lambda d, f: organ_from_stops(read_stops(_file(d, f, "s.txt"))),
         (b"Great", b"8'", b"Mixture", b"\n\n", b"C-g3", b"Coupler")),
    Kind("calendars", _calendar, lambda d, _: read_calendar(d, HORIZON),
         (b"BEGIN:VEVENT\r\n", b"END:VEVENT\r\n", b"RRULE:FREQ=DAILY\r\n", b";INTERVAL=0")),
    Kind("music", _music,
         lambda d, f: read_music(_file(d, f, "m.mid"), small_organ(), ["great.octave"]),
         (b"MTrk", b"\xff\x2f\x00", b"\xff\x51\x03\x00\x00\x00", b"\x90\x3c\x40")),
    Kind("exports of a book", _export, _import,
         (b'"tables"', b"null", b"{", b"}", b"[", b'"form": "0099"', b"1e999")),
    Kind("heard walks", _walk, lambda d, _: walk_from_json(_json(d)),
         (*_JSON, b'"holds"', b'"C99"')),
    Kind("sound files", _sound, lambda d, _: open_sound(io.BytesIO(d), "a").inspect(),
         (b"RIFF", b"data", b"fmt ", b"fLaC", b"OggS", b"LIST\xff\xff\xff\xff", bytes(64))),
    Kind("live recordings", lambda _: _sounds()["FLAC"],
         lambda d, f: repair_recording(_file(d, f, "live.flac")),
         (b"fLaC", b"\xff\xf8", bytes(42))),
    Kind("live logs", _log, lambda d, f: read_log(_file(d, f, "l.jsonl")),
         (b"{", b"\n", b"null", b'"undone": true', b'"hz": NaN')),
    Kind("firms", other.firm, other.read_a_firm, _TOML),
    Kind("addresses of a database", other.address, other.read_an_address, _TOML),
    Kind("air logs", other.air_log, other.read_an_air_log,
         (b"\n", b";", b",,,,", b'"', b"\x00", b"9999-12-31 23:59", b"," * 999)),
    Kind("walk files", other.walk_file, other.read_a_walk_file, _JSON),
    Kind("rounds", other.round_, other.read_a_round, _JSON),
    Kind("schedules", _music, other.read_a_schedule,
         (b"MTrk", b"\xff\x2f\x00", b"\xff\x51\x03\x00\x00\x00", b"\x90\x3c\x40")),
    Kind("workbooks with stops", other.workbook, other.read_a_workbook, (b"PK\x03\x04", bytes(8))),
    Kind("damaged books", other.database, other.use_a_database, (bytes(64), b"\xff" * 64)),
)  # fmt: skip


def _text(data: bytes, folder: Path) -> str:
    from walkboard.work.organ_files import read_text

    return read_text(_file(data, folder, "organ.toml"))


def _json(data: bytes) -> object:
    from walkboard.errors import InputError

    try:
        return json.loads(data)
    except (ValueError, RecursionError) as error:  # as the commands do it
        raise InputError(f"not JSON: {error}") from None


def fuzz(kind: Kind, random: Random, count: int, folder: Path) -> Tally:
    """So many files of a kind.

    Parameters
    ----------
    kind : Kind
    random : Random
    count : int
    folder : Path
        Of its own, for files.
    """
    tally = Tally(kind.name)
    for n in range(count):
        data = damaged(random, kind.make(random), kind.tokens)
        tally.attempt(partial(kind.read, data, folder), f"input {n}", data)
    return tally
