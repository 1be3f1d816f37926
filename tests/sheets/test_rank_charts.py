"""Charts of a rank: what is written beside a pipe, and what a celeste is judged against."""

from datetime import date

import pytest

from walkboard.listening.readings import Measured
from walkboard.listening.types import ReadingFlag
from walkboard.organ import examples
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.sheets.rank_charts import FLAG_WORDS, STRAY_CENTS, ChartContext, rank_chart
from walkboard.sheets.values import Mark, VisitFacts
from walkboard.survey.hear.heard_walk import Reading

HALL = read_organ(examples.hall())
GAMBA, CELESTE = PipeRef("swell.gamba8", 42), PipeRef("swell.celeste8", 30)  # both at F5


def read(pipe: PipeRef, cents: float) -> Reading:
    return Measured(
        pipe=pipe, hz=440.0, sigma_cents=0.1, cents=cents, level_db=-30.0, start_s=0.0, end_s=3.0
    )


def celeste_chart(gamba_cents: float, celeste_cents: float):
    found = {GAMBA: read(GAMBA, gamba_cents), CELESTE: read(CELESTE, celeste_cents)}
    context = ChartContext(VisitFacts(date(2026, 5, 4)), None, None, STRAY_CENTS)
    return rank_chart(HALL, HALL.rank("swell.celeste8"), found, {}, context)


def test_every_flag_of_a_reading_has_words_on_paper():
    assert set(FLAG_WORDS) == set(ReadingFlag)
    assert len(set(FLAG_WORDS.values())) == len(FLAG_WORDS)


def test_a_celeste_that_moved_with_its_partner_is_in_its_place():
    chart = celeste_chart(-7.0, -7.0)
    (point,) = chart.points
    assert point.mark is Mark.IN
    assert point.cents == pytest.approx(0.0, abs=0.1)  # its beats count in Hz, so not quite 0
    assert "beside the Gamba" in chart.caption


def test_a_celeste_in_tune_beside_a_partner_that_fell_is_sharp():
    (point,) = celeste_chart(-7.0, 0.0).points
    assert point.mark is Mark.SHARP
    assert point.cents == pytest.approx(7.0, abs=0.1)
