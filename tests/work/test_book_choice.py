"""Names of keys that were chosen for a book are on its printed sheets too."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.commands import Run
from tests.sheets.visits import text, unspaced
from tests.survey.organs import SMALL
from tests.work.chapel import chapel_book
from walkboard.book.opening import open_book
from walkboard.book.records import FaultKind
from walkboard.organ.sounding import held_key
from walkboard.planning.request import PlanRequest
from walkboard.scales.key_names import Names, name_of
from walkboard.work.book_choice import FILE, BookChoice
from walkboard.work.open_book import now, organ_of
from walkboard.work.planned_pipes import organ_to_plan
from walkboard.work.plans import kept
from walkboard.work.print_sheets import print_outlook, print_report, print_worklist


def test_a_choice_is_kept_and_one_that_is_none_counts_as_none(tmp_path: Path) -> None:
    assert BookChoice.of(tmp_path).key_names is Names.SCIENTIFIC
    BookChoice("de", "german").keep(tmp_path)
    assert BookChoice.of(tmp_path) == BookChoice("de", "german")
    (tmp_path / FILE).write_text('{"names": "klingon"}')
    assert BookChoice.of(tmp_path).key_names is Names.SCIENTIFIC


@pytest.mark.parametrize("names", [Names.SCIENTIFIC, Names.GERMAN, Names.FRENCH])
def test_the_worklist_names_keys_as_the_book_does(tmp_path: Path, names: Names) -> None:
    chapel_book(tmp_path)
    BookChoice(names=names.value).keep(tmp_path)
    with open_book(tmp_path, clock=now) as book:
        (visit,) = book.visits(1)
        organ = organ_to_plan(book, visit)
        plan = kept(book, visit, PlanRequest(60.0)).plan
        made = print_worklist(book, organ, visit, tmp_path / "worklist.pdf")
    shown = unspaced(text(made.read_bytes()))
    keys = [held.key for item in plan.items if (held := held_key(organ, item.pipe)) is not None]
    assert len(keys) > 5
    for key in keys:
        assert unspaced(name_of(key, names)) in shown


def test_page_1_as_a_web_page_names_keys_as_the_book_does(tmp_path: Path) -> None:
    chapel_book(tmp_path)
    BookChoice(names=Names.GERMAN.value).keep(tmp_path)
    with open_book(tmp_path, clock=now) as book:
        (visit,) = book.visits(1)
        book.report_fault(1, FaultKind.DEAD_NOTE, "no sound", stop="great.octave4", key="D#3")
        made = print_report(book, organ_of(book, None)[1], visit, tmp_path / "report.html")
    page = made.read_text(encoding="utf-8")
    assert "D♯3" not in page
    assert re.search(r"\bdis\b", page)


# Common practice, no source: A4, the A that is tuned to, is a′ in German and la3 in French.
PITCH = [(Names.SCIENTIFIC, "A4 = "), (Names.GERMAN, "a′ = "), (Names.FRENCH, "la3 = ")]


@pytest.mark.parametrize(("names", "pitch"), PITCH)
def test_the_outlook_names_the_key_of_the_pitch_as_the_book_does(
    tmp_path: Path, names: Names, pitch: str
) -> None:
    chapel_book(tmp_path, is_heard=False)
    BookChoice(names=names.value).keep(tmp_path)
    with open_book(tmp_path, clock=now) as book:
        kept_organ, organ = organ_of(book, None)
        made = print_outlook(
            book, kept_organ, organ, now().date(), tmp_path / "outlook.pdf", minutes=60.0
        )
    assert unspaced(f"{pitch}{organ.pitch.a4_hz:g} Hz") in unspaced(text(made.read_bytes()))


@pytest.mark.parametrize(
    ("command", "scientific", "german"),
    [
        (["survey-plan", "ORGAN"], ["C2–F6"], ["C–f′′′"]),
        (["complete-tuning", "--organ", "ORGAN"], ["F3 to E4", "A4 = "], ["f to e′", "a′ = "]),
    ],
)
def test_a_sheet_made_without_a_book_can_name_keys_as_a_book_does(
    tmp_path: Path, run: Run, command: list[str], scientific: list[str], german: list[str]
) -> None:
    chapel_book(tmp_path / "book")
    BookChoice(names=Names.GERMAN.value).keep(tmp_path / "book")
    file, pdf = tmp_path / "organ.toml", tmp_path / "sheet.pdf"
    file.write_text(SMALL, encoding="utf-8")
    typed = [str(file) if word == "ORGAN" else word for word in command]
    for extra, shown, others in (
        ([], scientific, german),
        (["--book", tmp_path / "book"], german, scientific),
    ):
        assert run(*typed, *extra, "--pdf", pdf).code == 0
        printed = unspaced(text(pdf.read_bytes()))
        for words in shown:
            assert unspaced(words) in printed
        for words in others:
            assert unspaced(words) not in printed
    assert "There is no book" in run(*typed, "--book", tmp_path / "none", "--pdf", pdf).err
