"""The firm's round by the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.commands import Run
from tests.survey.organs import SMALL
from tests.work.rounds.test_make_round import FIRM
from walkboard.organ.reading import read_organ


@pytest.fixture
def place(run: Run, organ_file: Path, tmp_path: Path) -> Path:
    assert run("book", "new", tmp_path / "book").code == 0
    assert run("book", "add", tmp_path / "book", organ_file).code == 0
    head, _, _ = FIRM.partition("[[organ]]")
    organ = f'[[organ]]\nname = "{read_organ(SMALL).name}"\ntown = "Easton"\n'
    (tmp_path / "firm.toml").write_text(head + organ, encoding="utf-8")
    return tmp_path


def test_a_round_is_planned_kept_drawn_and_put_into_calendars(run: Run, place: Path) -> None:
    firm, book = place / "firm.toml", place / "book"
    options = ("--firm", firm, "--weeks", "8", "--from", "2031-01-06")
    first = run("round", book, *options, "--json")
    assert first.code == 0
    (visit,) = first.json["visits"]
    assert visit["town"] == "Easton"
    (place / "round.json").write_text(first.out, encoding="utf-8")
    ran = run(
        "round", book, *options, "--keep", place / "round.json",
        "--calendars", place / "calendars", "--map", place / "map.svg",
    )  # fmt: skip
    assert ran.code == 0
    assert visit["week"] in ran.out
    assert "a service every four weeks" in ran.out
    assert "moved" not in ran.out
    assert (place / "map.svg").read_text(encoding="utf-8").startswith("<svg")
    assert {p.name for p in (place / "calendars").iterdir()} == {"Ada.ics", "Ben.ics"}


def test_an_organ_that_the_book_lacks_is_named(run: Run, place: Path) -> None:
    firm = place / "firm.toml"
    text = firm.read_text(encoding="utf-8").replace(read_organ(SMALL).name, "Elsewhere")
    firm.write_text(text, encoding="utf-8")
    ran = run("round", place / "book", "--firm", firm)
    assert ran.code == 2
    assert "no organ 'Elsewhere'" in ran.err
