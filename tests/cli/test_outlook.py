"""Looking ahead by the command line: with no history at all, and at an open visit."""

from pathlib import Path
from xml.etree import ElementTree as ET

import pypdf

from tests.commands import Run
from tests.survey.organs import SMALL
from walkboard.organ.reading import read_organ


def test_an_organ_never_heard_has_an_outlook(run: Run, book: Path) -> None:
    organ = read_organ(SMALL)
    reported = run("outlook", book, "--on", "2031-12-20", "--json").json
    assert [row["rank"] for row in reported["ranks"]] == [rank.id for rank in organ.ranks]
    assert all(row["spread_cents"] > 0.0 for row in reported["ranks"])
    rank = organ.ranks[0]
    pipes = run("outlook", book, "--rank", rank.id, "--json").json["pipes"]
    assert len(pipes) == rank.pipes
    assert all(p["low_cents"] < p["cents"] < p["high_cents"] for p in pipes)


def test_the_chart_of_a_rank_is_a_drawing(run: Run, book: Path, tmp_path: Path) -> None:
    rank = read_organ(SMALL).ranks[0]
    chart = tmp_path / "rank.svg"
    assert run("outlook", book, "--rank", rank.id, "--chart", chart).code == 0
    assert ET.fromstring(chart.read_text(encoding="utf-8")).tag.endswith("svg")


def test_a_wrong_day_is_refused_with_a_fix(run: Run, book: Path) -> None:
    ran = run("outlook", book, "--on", "20 December")
    assert ran.code == 2
    assert "2031-12-20" in ran.err


def test_the_first_keys_are_as_many_as_asked_for(run: Run, book: Path) -> None:
    walks = run("first-keys", book, "--keys", "8", "--json").json["walks"]
    assert sum(len(walk["keys"]) for walk in walks) == 8
    assert "hold" in run("first-keys", book).out
    never_heard = run("first-keys", book, "--json").json["walks"]
    assert sum(len(walk["keys"]) for walk in never_heard) == 40


def test_the_next_keys_want_an_open_visit_and_keep_to_its_minutes(run: Run, book: Path) -> None:
    assert run("next-keys", book, "--minutes", "90").code == 2
    assert run("visit", "open", book, "--purpose", "spring", "--minutes", "90").code == 0
    reported = run("next-keys", book, "--minutes", "90", "--listening", "6", "--json").json
    assert 0.0 < reported["minutes"] <= 6.3
    assert reported["worth"] > 0.0


def test_readiness_goes_along_the_calendar(run: Run, book: Path, tmp_path: Path) -> None:
    assert "No event" in run("readiness", book).out
    added = run("event", "add", book, "evensong", "--at", "2090-05-01 19:00", "--title", "Evensong")
    assert added.code == 0, added.err
    chart = tmp_path / "ready.svg"
    reported = run("readiness", book, "--minutes", "60", "--chart", chart, "--json").json["events"]
    assert [event["title"] for event in reported] == ["Evensong"]
    assert reported[0]["badness_visited"] < reported[0]["badness"]
    assert ET.fromstring(chart.read_text(encoding="utf-8")).tag.endswith("svg")


def test_the_outlook_is_a_sheet_with_its_charts(run: Run, book: Path, tmp_path: Path) -> None:
    added = run("event", "add", book, "evensong", "--at", "2090-05-01 19:00", "--title", "Evensong")
    assert added.code == 0, added.err
    rank = read_organ(SMALL).ranks[0]
    to = tmp_path / "outlook.pdf"
    assert run("sheet", "outlook", book, "--to", to, "--rank", rank.id).code == 0
    reported = " ".join(page.extract_text() for page in pypdf.PdfReader(to).pages)
    assert "Evensong" in reported
    assert "1 May 2090" in reported
    assert "This organ has not been heard yet" in reported
    wrong = run("sheet", "outlook", book, "--to", to, "--rank", "great.nothing")
    assert wrong.code == 2
    assert "great.nothing" in wrong.err
