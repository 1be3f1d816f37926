"""The key holder's sheet of a survey, as text and as PDF."""

import io
import re
from dataclasses import replace

import pypdf
import pytest

from tests.sheets.visits import DAY, pages, village_organ
from walkboard.organ.model import PipeRef
from walkboard.scales.key_names import Names
from walkboard.scales.keys import Key
from walkboard.sheets.key_sheet import key_sheet, key_sheet_text
from walkboard.sheets.typesetting import render_pdf
from walkboard.sheets.wording import naming_keys
from walkboard.survey.plan.make_survey import plan_survey
from walkboard.survey.plan.walk_plan import Doubt


@pytest.fixture(scope="module")
def plan():
    return plan_survey(village_organ(), minutes=10.0)


@pytest.fixture(scope="module")
def sheet(plan):
    return key_sheet(village_organ(), plan, DAY)


def test_each_walk_says_what_to_draw_where_and_how_long(plan, sheet):
    text = key_sheet_text(sheet)
    assert text.count("[ ]") == len(plan.walks)
    for walk in plan.walks:
        assert f"--drawn {','.join(walk.drawn)}" in re.sub(r"\s+", " ", text)
    assert "Swell: draw Chimney Flute 8′ and Principal 4′." in text
    assert "4 s each" in text
    assert max(map(len, text.splitlines())) <= 88


def test_what_is_left_out_is_said(sheet):
    (left,) = [fact for fact in sheet.remarks if fact.label == "Left out"]
    assert "one key in 2 is walked, every rank kept" in left.value


def test_nothing_to_walk_is_said():
    organ = village_organ()
    plan = plan_survey(organ, pipes=[PipeRef("great.open8", 1)], choose=lambda *_: False)
    sheet = key_sheet(organ, plan, DAY)
    assert "nothing to walk" in key_sheet_text(sheet)
    assert "No stop sounds" in key_sheet_text(sheet)
    assert render_pdf(sheet).startswith(b"%PDF")


def test_the_pdf_holds_every_walk_and_is_the_same_each_time(sheet):
    made = render_pdf(sheet)
    assert made == render_pdf(sheet)
    text = " ".join(pages(made))
    for walk in sheet.walks:
        for stop in walk.draw:
            assert stop.split(" ")[0] in text
    about = pypdf.PdfReader(io.BytesIO(made)).metadata
    assert about is not None
    assert (about.title or "").startswith("Survey of Nether Brask")


# Common practice, no source: C2 and F♯3 are C and fis in German, do1 and fa♯2 in French, CC and F♯
# on English organs.
@pytest.mark.parametrize(
    ("names", "run", "doubt"),
    [
        (Names.SCIENTIFIC, "C2–D♯3, only C, D♯, F♯ and A", "at C2–F♯3."),
        (Names.HELMHOLTZ, "C–d♯, only C, D♯, F♯ and A", "at C–f♯."),
        (Names.GERMAN, "C–dis, only C, Dis, Fis and A", "at C–fis."),
        (Names.ENGLISH, "CC–D♯, only C, D♯, F♯ and A", "at CC–F♯."),
        (Names.FRENCH, "do1–ré♯2, only do, ré♯, fa♯ and la", "at do1–fa♯2."),
    ],
)
def test_keys_are_named_as_the_country_writes_them(plan, names, run, doubt):
    low, high = Key.parse("C2"), Key.parse("F#3")
    walk = replace(
        plan.walks[0],
        keys=tuple(low.up(n) for n in range(0, 18, 3)),
        doubts=(Doubt("two pipes of one pitch", low, high),),
    )
    with naming_keys(names):
        sheet = key_sheet(village_organ(), replace(plan, walks=(walk,)), DAY)
    assert sheet.walks[0].keys == (run,)
    assert sheet.walks[0].note == f"Doubtful: two pipes of one pitch {doubt}"
    assert run in re.sub(r"\s+", " ", key_sheet_text(sheet))
