"""The PDF: tagged, embedded, the same bytes each time, and deaf to markup in names."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pypdf
import pytest

from tests.sheets.visits import (
    DAY,
    condition,
    facts,
    pages,
    reading,
    readings_of,
    text,
    unspaced,
    village_organ,
    work,
)
from walkboard.listening.types import ReadingFlag
from walkboard.organ.model import PipeRef
from walkboard.sheets.report import visit_report
from walkboard.sheets.typesetting import MISSING, render_pdf
from walkboard.sheets.values import Fault, Ticked, TickState, VisitReport, Work, WorklistSheet
from walkboard.sheets.worklist import worklist_sheet

HOSTILE = (
    '#panic("x") #read("/etc/passwd") #sys.inputs',
    "*bold* _slanted_ $x^2$ `raw` = head",
    '"quoted" \\ back \\u{41} ] } ) //',
    "<b>&amp;</b> <svg/onload=x>",
    "- list + enum / term: @label <label>",
)


def worklist() -> WorklistSheet:
    organ = village_organ()
    given = [("great.open8:19", -7.2), ("swell.oboe8:7", 12.0)]
    return worklist_sheet(organ, facts(organ), work(organ, given, 1.5))


def report() -> VisitReport:
    organ = village_organ()
    heard = readings_of(organ.rank("great.open8"), 0.4)
    heard.append(reading(PipeRef("swell.oboe8", 3), None, ReadingFlag.SILENT))
    return visit_report(organ, facts(organ), heard, condition=condition(organ))


SHEETS = pytest.mark.parametrize("sheet", [worklist(), report()], ids=["worklist", "report"])


@SHEETS
def test_the_same_sheet_gives_the_same_bytes(sheet: WorklistSheet | VisitReport) -> None:
    assert render_pdf(sheet) == render_pdf(sheet)


@SHEETS
def test_the_document_says_what_pdf_ua_wants(sheet: WorklistSheet | VisitReport) -> None:
    # ISO 14289-1:2014: 5 (pdfuaid:part in the metadata), 7.1 (tagged; the title is displayed),
    # 7.2 (language), 7.3 (figures have alternative text). Read back by pypdf, not by Typst.
    document = pypdf.PdfReader(io.BytesIO(render_pdf(sheet)))
    root = held(document.trailer["/Root"])
    assert bool(held(root["/MarkInfo"])["/Marked"])
    assert bool(held(root["/ViewerPreferences"])["/DisplayDocTitle"])
    assert str(root["/Lang"]).startswith("en")
    stream = root["/Metadata"].get_object()
    assert isinstance(stream, pypdf.generic.StreamObject)
    metadata = stream.get_data().decode()
    assert "pdfuaid:part" in metadata
    assert document.metadata is not None
    assert document.metadata.title == sheet.title
    for moment in (document.metadata.creation_date, document.metadata.modification_date):
        assert moment is None or moment.date() == DAY  # never the clock: it would change the bytes
    assert document.metadata.creation_date is not None
    kinds, alternatives = structure(root["/StructTreeRoot"])
    assert {"/H1", "/H2"} <= kinds
    if isinstance(sheet, VisitReport):
        assert len(alternatives) == len(sheet.charts)
        for chart, words in zip(sheet.charts, alternatives, strict=True):
            assert chart.heading in words
            assert chart.caption in words
    if isinstance(sheet, WorklistSheet):
        assert {"/Table", "/TH", "/TD"} <= kinds


def held(node: pypdf.generic.PdfObject) -> pypdf.generic.DictionaryObject:
    found = node.get_object()
    assert isinstance(found, pypdf.generic.DictionaryObject)
    return found


def structure(node: pypdf.generic.PdfObject) -> tuple[set[str], list[str]]:
    """Every kind of tag in a structure tree, and the alternative texts in order."""
    kinds: set[str] = set()
    alternatives: list[str] = []
    found = node.get_object()
    children: list[pypdf.generic.PdfObject]
    if isinstance(found, pypdf.generic.ArrayObject):
        children = list(found)
    elif isinstance(found, pypdf.generic.DictionaryObject):
        kinds.add(str(found.get("/S", "")))
        if "/Alt" in found:
            alternatives.append(str(found["/Alt"]))
        children = [found["/K"]] if "/K" in found else []
    else:
        children = []
    for child in children:
        more, texts = structure(child)
        kinds |= more
        alternatives += texts
    return kinds, alternatives


@SHEETS
def test_every_font_is_embedded(sheet: WorklistSheet | VisitReport) -> None:
    if shutil.which("pdffonts") is None:
        pytest.skip("pdffonts (poppler-utils) is not installed; embedding was not looked at")
    done = subprocess.run(
        ["pdffonts", "-"], input=render_pdf(sheet), capture_output=True, check=True
    )
    rows = done.stdout.decode().splitlines()[2:]
    assert rows
    for row in rows:
        embedded = row.split()[-5]
        assert embedded == "yes", row
        assert any(name in row for name in ("Libertinus", "DejaVuSansMono", "NewCM")), row


@SHEETS
def test_pages_are_a4(sheet: WorklistSheet | VisitReport) -> None:
    for page in pypdf.PdfReader(io.BytesIO(render_pdf(sheet))).pages:
        assert abs(float(page.mediabox.width) - 210 / 25.4 * 72) < 0.1
        assert abs(float(page.mediabox.height) - 297 / 25.4 * 72) < 0.1


@pytest.mark.parametrize("words", HOSTILE)
def test_markup_in_names_is_printed_as_it_stands(words: str) -> None:
    organ = replace(village_organ(), name=words)
    organ = replace(
        organ,
        ranks=tuple(replace(r, name=words) for r in organ.ranks),
        stops=tuple(replace(s, name=words) for s in organ.stops),
        divisions=tuple(replace(d, name=words) for d in organ.divisions),
    )
    given = work(organ, [("great.open8:19", -7.2)])
    ticks = (Ticked(PipeRef("great.open8", 19), TickState.SKIPPED, words),)
    visit = facts(organ, purpose=words, closing_note=words)
    fault = Fault(words, words, words, DAY)
    both = (
        worklist_sheet(organ, visit, Work(given.plan, ticks)),
        visit_report(
            organ,
            visit,
            readings_of(organ.rank("great.open8")),
            work=Work(given.plan, ticks),
            faults=(fault,),
            notices=(words,),
        ),
    )
    for sheet in both:
        made = render_pdf(sheet)
        assert unspaced(text(made)).count(unspaced(words)) >= 5
        information = pypdf.PdfReader(io.BytesIO(made)).metadata
        assert information is not None
        assert unspaced(words) in unspaced(str(information.title))


def test_letters_without_a_shape_are_replaced_not_refused() -> None:
    organ = replace(village_organ(), name="Zvon 東京 🎹 kostel Žižkov Ω")
    sheet = worklist_sheet(organ, facts(organ), work(organ, [("great.open8:19", -7.2)]))
    assert f"Zvon {MISSING * 2} {MISSING} kostel Žižkov Ω" in pages(render_pdf(sheet))[0]


def test_control_characters_and_turned_lines_are_dropped() -> None:
    organ = replace(village_organ(), name="Har\x00bour\x1b \u202eHall\u2028West\ud800\n\n end")
    sheet = worklist_sheet(organ, facts(organ), work(organ, []))
    assert f"Harbour Hall West{MISSING} end" in pages(render_pdf(sheet))[0]


def test_a_number_and_its_unit_stay_on_one_line(tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed; lines were not looked at")
    organ = village_organ()
    made = tmp_path / "list.pdf"
    many = [(f"great.open8:{n}", -1.0 - 0.37 * n) for n in range(1, 20)]
    made.write_bytes(render_pdf(worklist_sheet(organ, facts(organ), work(organ, many))))
    lines = subprocess.run(
        ["pdftotext", "-layout", str(made), "-"], capture_output=True, check=True, text=True
    ).stdout
    assert len(re.findall(r"about\s[\d.]+\smm\b", lines)) == len(many)
    assert not re.search(r"about\s*$", lines, re.MULTILINE)


def test_a_very_long_name_stays_on_the_sheet(tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip(
            "pdftotext (poppler-utils) is not installed; places of words were not looked at"
        )
    organ = village_organ()
    given = work(organ, [("great.open8:19", -7.2)])
    long_word = "Doppelrohrflötenprincipal" * 12
    ticks = (Ticked(PipeRef("great.open8", 19), TickState.SKIPPED, long_word),)
    made = tmp_path / "long.pdf"
    visit = facts(organ, purpose=long_word)
    made.write_bytes(render_pdf(worklist_sheet(organ, visit, Work(given.plan, ticks))))
    boxes = subprocess.run(
        ["pdftotext", "-bbox", str(made), "-"], capture_output=True, check=True, text=True
    ).stdout
    right = [float(part.split('"')[1]) for part in boxes.split("xMax=")[1:] if part]
    assert right
    assert max(right) < 210 / 25.4 * 72 - 20.0


def test_only_sheets_are_drawn() -> None:
    with pytest.raises(TypeError, match="no sheet for dict"):
        render_pdf({})
