"""Calendars and tables of the book by command."""

from __future__ import annotations

from pathlib import Path

from tests.commands import Run

CALENDAR = (
    "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Tests//EN\r\nBEGIN:VEVENT\r\nUID:carols@tarnhaven"
    "\r\nSUMMARY:Carols\r\nDTSTART:20311220T180000Z\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
)


def test_a_calendar_in_and_out(run: Run, book: Path, tmp_path: Path) -> None:
    venue = tmp_path / "venue.ics"
    venue.write_bytes(CALENDAR.encode())
    first = run("event", "take", book, venue)
    assert first.out == "New: 1; changed: 0; the same: 0; cancelled: 0.\n"
    assert run("event", "take", book, venue).out.startswith("New: 0; changed: 0; the same: 1")
    (event,) = run("event", "list", book, "--json").json["events"]
    assert (event["uid"], event["title"]) == ("carols@tarnhaven", "Carols")
    out = tmp_path / "events.ics"
    assert run("event", "give", book, out).code == 0
    assert b"UID:carols@tarnhaven\r\n" in out.read_bytes()
    assert run("book", "export", book, tmp_path / "again.ics").code == 0
    assert (tmp_path / "again.ics").read_bytes() == out.read_bytes()


def test_a_file_that_is_no_calendar_is_named(run: Run, book: Path, tmp_path: Path) -> None:
    letter = tmp_path / "letter.ics"
    letter.write_text("Dear tuner", encoding="utf-8")
    ran = run("event", "take", book, letter)
    assert ran.code == 2
    assert "letter.ics: This is not a calendar" in ran.err
    assert run("event", "take", book, tmp_path / "none.ics").code == 2


def test_tables_by_the_ending_of_the_file(run: Run, book: Path, tmp_path: Path) -> None:
    run("fault", "report", book, "howls", "--kind", "cipher")
    assert run("book", "export", book, tmp_path / "f.csv", "--table", "faults").code == 0
    assert "howls" in (tmp_path / "f.csv").read_text(encoding="utf-8")
    assert run("book", "export", book, tmp_path / "book.xlsx").code == 0
    missing = run("book", "export", book, tmp_path / "f.csv")
    assert missing.code == 2
    assert "Give --table: visits" in missing.err
