"""The key holder's sheet of a survey, as text and as PDF."""

import io
import re

import pypdf
import pytest

from tests.sheets.visits import DAY, pages, village_organ
from walkboard.organ.model import PipeRef
from walkboard.sheets.key_sheet import key_sheet, key_sheet_text
from walkboard.sheets.typesetting import render_pdf
from walkboard.survey.plan.make_survey import plan_survey


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
