"""The visit report: a page that a venue can read, a chart of each rank, and what was left out."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from numpy.testing import assert_allclose

from tests.sheets.visits import (
    DAY,
    condition,
    facts,
    hall_organ,
    pages,
    reading,
    readings_of,
    text,
    unspaced,
    village_organ,
    work,
)
from walkboard.condition.state import TemperamentCandidate, TemperamentFinding
from walkboard.errors import UnknownNameError
from walkboard.listening.readings import Bound, bounded
from walkboard.listening.types import ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key
from walkboard.sheets.rank_charts import best_of_each, silent_pipes
from walkboard.sheets.report import visit_report
from walkboard.sheets.typesetting import render_pdf
from walkboard.sheets.values import Fault, Mark, Ticked, TickState, VisitReport, Work
from walkboard.survey.hear.heard_walk import HeardWalk

OPEN8 = "great.open8"


def passage(report: VisitReport, heading: str) -> str:
    (found,) = [p for p in report.summary if p.heading == heading]
    return " ".join(found.sentences).replace("\N{NO-BREAK SPACE}", " ")


def test_of_several_readings_the_surest_counts() -> None:
    pipe = PipeRef(OPEN8, 5)
    sure = reading(pipe, 3.0, sigma_cents=0.05)
    readings = [reading(pipe, 9.0, sigma_cents=0.5), sure, reading(pipe, None, ReadingFlag.FAINT)]
    assert best_of_each(readings) == {pipe: sure}


def test_a_pipe_heard_only_badly_keeps_its_flag() -> None:
    pipe = PipeRef(OPEN8, 5)
    faint = reading(pipe, None, ReadingFlag.FAINT)
    assert best_of_each([reading(pipe, None, ReadingFlag.MERGED), faint]) == {pipe: faint}


def test_marks_tell_sharp_flat_care_and_unread() -> None:
    organ = village_organ()
    given = [
        reading(PipeRef(OPEN8, 1), 2.9),
        reading(PipeRef(OPEN8, 2), 3.1),
        reading(PipeRef(OPEN8, 3), -3.1),
        reading(PipeRef(OPEN8, 4), 1.0, ReadingFlag.UNSTEADY),
        reading(PipeRef(OPEN8, 5), None, ReadingFlag.OCTAVE),
    ]
    report = visit_report(organ, facts(organ), given, silent=[PipeRef(OPEN8, 6)])
    (chart,) = report.charts
    assert [p.mark for p in chart.points[:4]] == [Mark.IN, Mark.SHARP, Mark.FLAT, Mark.CARE]
    assert [p.cents for p in chart.points[4:]] == [None, None]
    assert [p.word for p in chart.points] == ["", "", "", "unsteady", "overblows", "silent"]
    assert chart.points[0].two_sigma_cents == 0.1
    assert "4 of 54 pipes read." in chart.caption
    assert "C♯2 (+3.1) and D2 (−3.1)" in chart.caption
    assert [(row.key, row.why) for row in report.flags] == [
        ("D♯2", "unsteady"),
        ("E2", "overblows"),
        ("F2", "silent"),
    ]


def test_a_pipe_not_separated_has_its_bound_in_the_list_and_one_word_in_the_chart() -> None:
    organ = village_organ()
    merged = bounded(reading(PipeRef(OPEN8, 5), None, ReadingFlag.MERGED), Bound(523.12, 0.83))
    report = visit_report(organ, facts(organ), [reading(PipeRef(OPEN8, 1), 2.9), merged])
    assert [row.why for row in report.flags] == ["merged, within ±0.8 cents of 523.1 Hz"]
    assert report.charts[0].points[1].word == "merged"
    assert "within±0.8centsof523.1Hz" in unspaced(text(render_pdf(report)))


def test_flues_are_drawn_against_the_pitch_that_they_are_tuned_to() -> None:
    organ = village_organ()
    given = work(organ, [(f"{OPEN8}:1", 5.0)], shift_cents=4.8)
    report = visit_report(organ, facts(organ), readings_of(organ.rank(OPEN8), 5.0), work=given)
    (chart,) = report.charts
    target, own = chart.lines
    assert (target.cents, target.is_target) == (4.8, True)
    assert (own.cents, own.is_target) == (0.0, False)
    assert {point.mark for point in chart.points} == {Mark.IN}


def test_reeds_are_drawn_against_the_flues_at_the_event() -> None:
    # Outside check: c ∝ √T (ISO 9613-1:1993): flues rise by 600·log2(T₂/T₁) = 11.88 cents from 17
    # to 21 °C; reeds are set to where they will be.
    organ = village_organ()
    visit = facts(organ, event_air_celsius=21.0)
    oboe = organ.rank("swell.oboe8")
    given = work(organ, [("swell.oboe8:1", 5.0)], shift_cents=1.0)
    (chart,) = visit_report(organ, visit, readings_of(oboe, 1.0), work=given).charts
    event, today = chart.lines
    assert_allclose(event.cents, 1.0 + 11.88, atol=0.1)
    assert event.words.startswith("flues at the event, 21.0")
    assert (today.cents, today.words) == (1.0, "flues today")
    assert {point.mark for point in chart.points} == {Mark.FLAT}


def test_pipes_left_are_drawn_beside_pipes_found() -> None:
    organ = village_organ()
    pipe = PipeRef(OPEN8, 13)
    report = visit_report(organ, facts(organ), [reading(pipe, 8.0)], left=[reading(pipe, 0.2)])
    (point,) = report.charts[0].points
    assert (point.cents, point.left_cents) == (8.0, 0.2)


def test_keys_passed_over_in_a_walk_are_its_silent_pipes() -> None:
    organ = village_organ()
    walk = HeardWalk(
        file="walk.flac",
        sound=SoundInfo(60.0, 48_000, 1, "FLAC, 24 bit"),
        organ=organ.name,
        drawn=("great.open8", "great.principal4"),
        air_celsius=17.0,
        holds=(),
        silent_keys=(Key.parse("F#3"),),
    )
    assert silent_pipes(organ, walk) == (PipeRef(OPEN8, 19), PipeRef("great.principal4", 19))


def test_the_summary_counts_what_was_heard_and_done() -> None:
    organ = village_organ()
    heard = readings_of(organ.rank(OPEN8), 0.5)
    heard[9] = reading(PipeRef(OPEN8, 10), 8.0)
    heard[19] = reading(PipeRef(OPEN8, 20), -6.0)
    heard[29] = reading(PipeRef(OPEN8, 30), 0.1, ReadingFlag.UNSTEADY)
    given = work(organ, [(f"{OPEN8}:10", 8.0), (f"{OPEN8}:20", -6.0)])
    ticks = (
        Ticked(PipeRef(OPEN8, 10), TickState.DONE),
        Ticked(PipeRef(OPEN8, 20), TickState.SKIPPED, "slide rusted"),
    )
    report = visit_report(organ, facts(organ), heard, work=Work(given.plan, ticks))
    short = passage(report, "In short")
    assert "54 pipes of 1 rank were listened to; 54 gave a pitch." in short
    assert "51 were where they should be, within 3 cents; 2 were not." in short
    assert "1 reading needs care." in short
    assert "1 pipe was tuned." in short
    assert "1 pipe of 2 planned" in passage(report, "What was done")
    left = passage(report, "What was left, and why")
    assert left == "Skipped: Great · Open Diapason 8′, G3 (slide rusted)."


def test_what_the_minutes_did_not_reach_is_separated_from_what_they_were_not_worth() -> None:
    organ = village_organ()
    heard = [reading(PipeRef(OPEN8, n), 9.0) for n in (1, 2, 3)]
    given = work(organ, [(f"{OPEN8}:1", 9.0)])
    left = passage(visit_report(organ, facts(organ), heard, work=given), "What was left, and why")
    assert "Planned but not reached: 1 pipe, Great · Open Diapason 8′ (1)." in left
    assert "2 other pipes are more than 3 cents off and were left as 2 h are best spent" in left


def test_the_pitch_on_arrival_is_reported_in_hertz() -> None:
    # Outside check: c ∝ √T takes 441.5 Hz at 15 °C to 443.03 Hz at 17 °C; 2 cents up: 443.54 Hz.
    organ = village_organ()
    assert (organ.pitch.a4_hz, organ.pitch.at_celsius) == (441.5, 15.0)
    report = visit_report(organ, facts(organ), [], condition=condition(organ, 2.0, -4.0))
    said = passage(report, "Pitch")
    assert "Great 443.5 Hz" in said
    assert "Swell 6.0 flat" in said


def test_a_temperament_is_named_only_where_it_is_claimed() -> None:
    organ = village_organ()
    found = TemperamentCandidate(("young 2", "vallotti on F"), 0, 0.97)
    base = condition(organ)
    sure = type(base)(base.divisions, TemperamentFinding((found,), found, (0.0,) * 12))
    unsure = type(base)(base.divisions, TemperamentFinding((found,), None, (0.0,) * 12))
    said = [
        passage(visit_report(organ, facts(organ), [], condition=c), "Pitch") for c in (sure, unsure)
    ]
    assert "It is tuned to Young 2, which is the same as Vallotti on F." in said[0]
    assert "Young" not in said[1]


def test_a_thermometer_that_disagrees_is_reported() -> None:

    organ = village_organ()
    base = condition(organ)
    swell = replace(base.divisions["swell"], agrees=False, implied_celsius=21.3)
    odd = type(base)({**base.divisions, "swell": swell}, None)
    said = passage(visit_report(organ, facts(organ), [], condition=odd), "Temperature")
    assert "In the Swell the pipes sound as in air of 21.3 °C" in said
    assert "In the Great the pipes" not in said


def test_faults_open_and_fixed() -> None:
    organ = village_organ()
    faults = (
        Fault("cipher", "Great Principal 4′, F♯3", "sticks in the cold", date(2026, 3, 1)),
        Fault(
            "dead note", "Swell Oboe 8′, C4", "no sound", date(2026, 2, 1), DAY, "dirt in the boot"
        ),
    )
    report = visit_report(organ, facts(organ), [], faults=faults)
    assert passage(report, "Faults") == (
        "Still to be fixed: cipher, Great Principal 4′, F♯3. Fixed: dead note, Swell Oboe 8′, C4."
    )
    assert "organ builder" in passage(report, "Advice")
    printed = unspaced(text(render_pdf(report)))
    for words in ("sticks in the cold", "open since 1 March 2026", "dirt in the boot"):
        assert unspaced(words) in printed


def test_the_figures_in_words_fill_one_page_after_the_first_even_of_a_bad_visit() -> None:
    organ = hall_organ()
    heard = [r for rank in organ.ranks[:4] for r in readings_of(rank, 9.0)]
    pipes = [(str(r.pipe), 9.0) for r in heard]
    given = work(organ, pipes)
    ticks = tuple(
        Ticked(r.pipe, (TickState.DONE, TickState.SKIPPED, TickState.OPEN)[n % 3], "seam has split")
        for n, r in enumerate(heard)
    )
    faults = tuple(
        Fault("cipher", f"Great Trumpet 8, key {n}", "sticks", date(2026, 3, 1)) for n in range(40)
    )
    visit = facts(
        organ,
        humidity=0.3,
        event_air_celsius=22.0,
        wind_mm={d.id: 90.0 for d in organ.divisions},
        closing_note="The third stage of the swell motor is slow. " * 3,
    )
    report = visit_report(
        organ,
        visit,
        heard,
        condition=condition(organ),
        work=Work(given.plan, ticks),
        faults=faults,
        notices=("walk.wav: Clipped in 2 places.",),
    )
    printed = pages(render_pdf(report))
    assert "The tuner's note" in printed[1]
    assert printed[2].startswith(f"{organ.name} A4 = 440")
    assert "The ranks, key by key" in printed[2]
    assert "Clipped in 2 places" in printed[-1]


def test_a_visit_without_readings_is_reported_honestly() -> None:
    organ = village_organ()
    report = visit_report(organ, facts(organ), [])
    printed = text(render_pdf(report))
    assert f"No pipe of {organ.name} was measured in this visit." in printed
    assert "Too few flue pipes were heard" in printed
    assert "No work was planned" in printed
    assert report.nothing in printed


def test_every_reading_of_the_table_is_printed() -> None:
    organ = village_organ()
    heard = [
        reading(PipeRef(OPEN8, n), 4.0 if n % 2 else None, ReadingFlag.UNSTEADY)
        for n in range(1, 55)
    ]
    report = visit_report(organ, facts(organ), heard)
    assert len(report.flags) == 54
    assert text(render_pdf(report)).count("+4.0 ± 0.1 unsteady") == 27


def test_readings_of_another_organ_are_refused() -> None:
    with pytest.raises(UnknownNameError, match="no rank"):
        visit_report(village_organ(), facts(village_organ()), [reading(PipeRef("x.y", 1), 0.0)])
