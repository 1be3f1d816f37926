"""JSON, TOML and other files that anyone may have written are read or clearly refused."""

import io
import zipfile
from collections.abc import Callable
from datetime import UTC
from pathlib import Path

import pytest

from walkboard.book.database.address import read_address
from walkboard.book.files.folder import ADDRESS
from walkboard.errors import BookError, InputError
from walkboard.parsing import json_value, toml_table
from walkboard.survey.plan.schedule import schedule_from_midi
from walkboard.work.archive.results import Results
from walkboard.work.book_choice import FILE, BookChoice
from walkboard.work.conditions.logger_csv import read_log
from walkboard.work.organ_from import text_of_stops
from walkboard.work.rounds.firm_file import read_firm
from walkboard.work.walk_files import load_walks

DEEP = "[" * 100_000
LONG = "9" * 5_000  # Python refuses whole numbers of more than 4,300 digits


@pytest.mark.parametrize("text", [DEEP, LONG, '{"a": ', "", "\ufeff"])
@pytest.mark.parametrize("read", [json_value, lambda text: toml_table(f"a = {text}")])
def test_whatever_is_wrong_is_a_value_error(read: Callable[[str], object], text: str) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        read(text)


@pytest.mark.parametrize("text", [DEEP, LONG])
def test_files_nested_too_deeply_or_with_endless_numbers_are_refused(
    text: str, tmp_path: Path
) -> None:
    file = tmp_path / "file"
    file.write_text(f"a = {text}")
    with pytest.raises(InputError, match="This is not TOML"):
        read_firm(file)
    (tmp_path / ADDRESS).write_text(f"database = {text}")
    with pytest.raises(BookError, match="it is not TOML"):
        read_address(tmp_path)
    file.write_text(text)
    with pytest.raises(InputError, match=r"not JSON|is not"):
        load_walks([file])
    (tmp_path / "ab").mkdir()
    (tmp_path / "ab" / "ab1.json").write_text(DEEP)
    with pytest.raises(InputError, match="result cannot be read"):
        Results(tmp_path).read("ab1")
    (tmp_path / FILE).write_text(text)
    assert BookChoice.of(tmp_path) == BookChoice()


def test_an_odd_key_signature_does_not_spoil_a_schedule() -> None:
    events = b"\x00\xff\x59\x02\x58\x21\x00\x90\x3c\x40\x60\x80\x3c\x00\x00\xff\x2f\x00"
    head = b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x01\xe0MTrk"
    schedule = schedule_from_midi(head + len(events).to_bytes(4, "big") + events)
    assert [press.key.semitone for press in schedule.presses] == [60]


def test_a_workbook_that_unpacks_to_gigabytes_is_refused_unread() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", bytes(120 << 20))
    assert len(out.getvalue()) < 200_000
    with pytest.raises(InputError, match="too large"):
        text_of_stops(out.getvalue(), "stops.xlsx")


@pytest.mark.parametrize(
    "data",
    [
        b'time,temp\n2031-01-01 10:00,17\n2031-01-01 10:10,"17' + b"x" * 200_000,
        b"\n".join(b"2031-01-01 10:%02d" % n + b",1" * 5_000 for n in range(20)),
        b",,,\n" * 9,
    ],
    ids=["a quote never closed", "ten thousand columns", "empty cells"],
)
def test_an_odd_air_log_is_refused(data: bytes) -> None:
    with pytest.raises(InputError, match="not a readable air log"):
        read_log(data, place="great", file_name="air.csv", zone=UTC)
