"""The worklist: what to move, which way, and where to leave it, in the plan's order."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from numpy.testing import assert_allclose

from tests.sheets.visits import (
    facts,
    hall_organ,
    pages,
    text,
    unspaced,
    village_organ,
    work,
)
from walkboard.errors import UnknownNameError
from walkboard.organ import examples
from walkboard.organ.model import Family, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.planning.plan import PlanItem, Reference
from walkboard.sheets.beats import beats_against, reference_in
from walkboard.sheets.cautions import CAUTIONS, DEFERENCE, Topic
from walkboard.sheets.typesetting import render_pdf
from walkboard.sheets.values import Ticked, TickState, Work
from walkboard.sheets.worklist import worklist_sheet

PIPES = (
    ("great.principal4:19", -7.2),
    ("great.principal4:22", 3.1),
    ("great.stopped8:13", 9.4),
    ("swell.oboe8:7", -12.0),
)


def test_rows_follow_the_plan_and_are_grouped_by_rank() -> None:
    organ = village_organ()
    sheet = worklist_sheet(organ, facts(organ), work(organ, PIPES))
    assert [group.heading for group in sheet.groups] == [
        "Great · Principal 4′",
        "Great · Stopped Diapason 8′",
        "Swell · Oboe 8′",
    ]
    assert [row.order for group in sheet.groups for row in group.rows] == [1, 2, 3, 4]
    assert sheet.groups[0].keys == "F♯3, A3"


def test_a_rank_that_is_come_back_to_is_a_group_of_its_own() -> None:
    organ = village_organ()
    given = (PIPES[0], PIPES[2], PIPES[1])
    sheet = worklist_sheet(organ, facts(organ), work(organ, given))
    assert [len(group.rows) for group in sheet.groups] == [1, 1, 1]


def test_target_is_that_of_todays_air_and_reference() -> None:
    # Outside check: equal temperament puts F#3 at 440·2^(−15/12) and its 4′ pipe an octave higher;
    # c ∝ √T (ISO 9613-1:1993) takes 20 °C to 17 °C down; 4.8 cents up for the reference. The two
    # laws of c differ by 0.05 cent in 3 °C, and water held in the air by less than 0.01.
    organ = hall_organ()
    assert (organ.temperament.name, organ.pitch.a4_hz, organ.pitch.at_celsius) == ("equal", 440, 20)
    given = work(organ, [("great.octave4:19", -7.2)], shift_cents=4.8)
    sheet = worklist_sheet(organ, facts(organ), given)
    air = ((273.15 + 17.0) / (273.15 + 20.0)) ** 0.5
    expected_hz = 2.0 * 440.0 * 2.0 ** (-15.0 / 12.0) * air * 2.0 ** (4.8 / 1200.0)
    assert_allclose(float(sheet.groups[0].rows[0].target), expected_hz, rtol=0.1 / 1731.0)
    assert sheet.references[0].value.startswith(
        "4.8 cents sharp of the organ's pitch, for air of 17"
    )


# The senses: Encyclopedia Americana (reeds), common practice of the trade for the rest.
@pytest.mark.parametrize(
    ("pipe", "cents", "move", "hand"),
    [
        ("great.open8:22", -5.0, "sharper", "slide down"),
        ("great.open8:22", 5.0, "flatter", "slide up"),
        ("great.stopped8:22", -5.0, "sharper", "stopper in"),
        ("great.stopped8:22", 5.0, "flatter", "stopper out"),
        ("great.principal4:22", -5.0, "sharper", "open the top with the cone"),
        ("great.principal4:22", 5.0, "flatter", "close the top with the cup"),
        ("swell.chimney8:22", 5.0, "flatter", "cap up"),
        ("swell.oboe8:22", -5.0, "sharper", "spring down"),
        ("swell.oboe8:22", 5.0, "flatter", "spring up"),
    ],
)
def test_which_way_to_move_and_with_what(pipe: str, cents: float, move: str, hand: str) -> None:
    organ = village_organ()
    sheet = worklist_sheet(organ, facts(organ), work(organ, [(pipe, cents)]))
    row = sheet.groups[0].rows[0]
    assert row.move == move
    assert row.hand.startswith(hand)


def test_the_arrow_points_where_the_word_says() -> None:
    organ = village_organ()
    printed = text(render_pdf(worklist_sheet(organ, facts(organ), work(organ, PIPES))))
    moves = ["flatter" if cents > 0.0 else "sharper" for _, cents in PIPES]
    assert re.findall(r"([▲▼]) (sharper|flatter)", printed) == [
        ("▲" if move == "sharper" else "▼", move) for move in moves
    ]


def test_a_slides_way_is_reported_in_millimetres() -> None:
    # Ising 1971: cents per mm = −1731.23/L_eff with L_eff = c/2f; at 220 Hz and 17 °C (c = 341.5
    # m/s by ISO 9613-1) L_eff is 776 mm, 2.23 cents per mm: 5 cents are 2.24 mm.
    organ = village_organ()
    sheet = worklist_sheet(organ, facts(organ), work(organ, [("great.open8:22", -5.0)]))
    hand = sheet.groups[0].rows[0].hand
    found = re.search(r"about\s([\d.]+)\smm", hand)
    assert found is not None
    assert_allclose(float(found.group(1)), 2.24, atol=0.06)


def test_a_measured_tongue_tells_the_springs_way() -> None:
    organ = hall_organ()
    rows = worklist_sheet(organ, facts(organ), work(organ, [("great.trumpet:25", -10.0)])).groups[0]
    # 50.5 mm of tongue and 10 cents: 0.146 mm by the law of a bar, 0.292 mm as measured on reeds
    # (Euler–Bernoulli, f ∝ L⁻²; Plitnik and Knox 1995, f ∝ L⁻¹).
    assert "0.15 to 0.29" in rows.rows[0].hand.replace("\N{NO-BREAK SPACE}", " ")


def test_the_printed_list_holds_every_row_with_all_that_it_needs() -> None:
    organ = village_organ()
    sheet = worklist_sheet(organ, facts(organ), work(organ, PIPES, shift_cents=1.5))
    printed = unspaced(text(render_pdf(sheet)))
    for group in sheet.groups:
        for words in (group.heading, group.draw, group.beside, group.device, group.why):
            assert unspaced(words) in printed
        for row in group.rows:
            for words in (row.key, row.pipe, row.stands, row.move, row.hand, row.target, row.beats):
                assert unspaced(words) in printed
    for topic in (Topic.FOOTING, Topic.LADDERS, Topic.ALONE, Topic.NOISE, Topic.LEAD):
        assert unspaced(CAUTIONS[topic].text) in printed
        assert unspaced(CAUTIONS[topic].source) in printed
    assert unspaced(DEFERENCE) in printed


def test_every_page_names_organ_air_and_pitch() -> None:
    organ = village_organ()
    many = [(f"great.open8:{n}", -5.0) for n in range(1, 40)]
    printed = pages(render_pdf(worklist_sheet(organ, facts(organ), work(organ, many, 2.0))))
    assert len(printed) >= 3
    for number, page in enumerate(printed, start=1):
        assert organ.name in page
        assert "air 17.0" in page
        assert f"A4 = {organ.pitch.a4_hz:g} Hz" in page
        assert "today +2.0 cents" in page
        assert f"page {number} of {len(printed)}" in page


def test_heads_of_the_table_stand_on_every_page_of_it() -> None:
    organ = village_organ()
    many = [(f"great.open8:{n}", -5.0) for n in range(1, 55)]
    printed = pages(render_pdf(worklist_sheet(organ, facts(organ), work(organ, many))))
    with_rows = [page for page in printed if "slide down, about" in page]
    assert len(with_rows) >= 2
    assert all("Leave at, Hz" in page for page in with_rows)


def test_a_sheet_printed_midway_shows_what_is_done() -> None:
    organ = village_organ()
    given = work(organ, PIPES)
    ticks = (
        Ticked(PipeRef.parse("great.principal4:19"), TickState.DONE),
        Ticked(PipeRef.parse("great.stopped8:13"), TickState.SKIPPED, "handle broken off"),
    )
    sheet = worklist_sheet(organ, facts(organ), Work(given.plan, ticks))
    states = [row.state for group in sheet.groups for row in group.rows]
    assert states == [TickState.DONE, TickState.OPEN, TickState.SKIPPED, TickState.OPEN]
    printed = text(render_pdf(sheet))
    assert "1 done" in printed
    assert "3 skipped" in printed
    assert "handle broken off" in printed


def test_a_plan_without_pipes_says_so_on_one_page() -> None:
    organ = village_organ()
    sheet = worklist_sheet(organ, facts(organ), work(organ, []))
    (page,) = pages(render_pdf(sheet))
    assert "Nothing to do" in page
    assert sheet.nothing in page


def test_a_very_long_list_is_printed_whole() -> None:
    organ = hall_organ()
    many = [
        (f"{rank.id}:{number}", -6.0)
        for rank in organ.ranks[:5]
        for number in range(1, rank.pipes + 1)
    ]
    printed = text(render_pdf(worklist_sheet(organ, facts(organ), work(organ, many))))
    assert len(many) > 300
    rows = re.findall(r"6\.0 flat [▲▼]", printed)
    assert len(rows) == len(many)


def test_a_plan_of_another_organ_is_refused() -> None:
    given = work(hall_organ(), [("great.trumpet:25", -10.0)])
    with pytest.raises(UnknownNameError, match=r"no rank 'great\.trumpet'"):
        worklist_sheet(village_organ(), facts(village_organ()), given)


def test_a_pipe_takes_one_line() -> None:
    """Eighty-six pipes of one visit took fourteen pages; they take five with everything needed."""
    organ = village_organ()
    many = [(f"great.open8:{n}", -5.0) for n in range(1, 44)]
    many += [(f"great.stopped8:{n}", 4.0) for n in range(1, 44)]
    printed = pages(render_pdf(worklist_sheet(organ, facts(organ), work(organ, many))))
    assert len(printed) <= 6


def test_beats_are_those_of_the_lowest_partials_that_meet() -> None:
    """Arithmetic of two sines: at A4 the 8′'s second partial (880 Hz) meets the 4′'s first.

    5 cents flat is 880·(1 − 2^(−5/1200)) = 2.54 beats a second, in air and pitch of the organ.
    """
    organ = village_organ()
    pitch = Reference("great", 0.0, organ.pitch.at_celsius)
    pipe = PipeRef("great.open8", 22)
    hz = target_hz(organ, pipe, organ.pitch.at_celsius)
    item = PlanItem(1, pipe, -5.0, hz, "sharper", 1.0, "")
    reference = organ.rank("great.principal4")
    assert reference_in(organ, organ.rank("great.open8")) == reference
    found = beats_against(organ, item, reference, pitch)
    assert found is not None
    assert_allclose(found.now_hz, 2.0 * hz * (1.0 - 2.0 ** (-5.0 / 1200.0)), rtol=1e-9)
    assert_allclose(found.target_hz, 0.0, atol=1e-9)


def test_a_celeste_beats_with_its_partner_as_that_is() -> None:
    """A partner 9 cents flat of 440 Hz: 2.5 beats above it, and 4 cents sharp of that now."""
    organ = read_organ(examples.hall())
    rank = organ.rank("swell.celeste8")
    pipe = PipeRef(rank.id, next(n for n in range(1, rank.pipes) if rank.key_of(n).name == "A4"))
    partner_hz = 440.0 * 2.0 ** (-9.0 / 1200.0)
    assert rank.celeste_beats_hz is not None
    target = partner_hz + rank.celeste_beats_hz
    item = PlanItem(1, pipe, 4.0, target, "flatter", 1.0, "")
    beside = reference_in(organ, rank)
    assert beside == organ.rank("swell.gamba8")
    found = beats_against(organ, item, beside, None)
    assert found is not None
    assert_allclose(found.target_hz, rank.celeste_beats_hz, rtol=1e-6)
    assert_allclose(found.now_hz, target * 2.0 ** (4.0 / 1200.0) - partner_hz, rtol=1e-6)


def test_a_reed_set_for_a_warmer_event_beats_with_the_flues_of_today() -> None:
    """3 cents above the flues is what the sheet says will still be heard, not nothing."""
    organ = village_organ()
    pipe = PipeRef("swell.oboe8", 22)
    flues = target_hz(organ, pipe, 18.0)
    item = PlanItem(1, pipe, -7.0, flues * 2.0 ** (3.0 / 1200.0), "sharper", 1.0, "")
    reference = next(r for r in organ.ranks if r.division == "swell" and r.family is Family.OPEN)
    found = beats_against(organ, item, reference, Reference("swell", 0.0, 18.0, 19.0))
    assert found is not None
    ratio = reference.multiple_of(22) / organ.rank("swell.oboe8").multiple_of(22)
    assert_allclose(found.target_hz, ratio * flues * (2.0 ** (3.0 / 1200.0) - 1.0), rtol=1e-6)


def test_the_rank_says_why_and_what_its_minutes_buy() -> None:
    organ = village_organ()
    given = work(organ, PIPES)
    items = tuple(
        replace(item, gain=gain)
        for item, gain in zip(given.plan.items, (3.0, 1.0, 4.0, 2.0), strict=True)
    )
    sheet = worklist_sheet(organ, facts(organ), Work(replace(given.plan, items=items), ()))
    assert sheet.groups[0].why.startswith("Off by 3.1 to 7.2 cents, most at F♯3 (7.2 flat).")
    assert "bring 40 % of what this plan gains" in sheet.groups[0].why


def test_a_pipe_that_moving_may_harm_carries_its_warning() -> None:
    organ = village_organ()
    sheet = worklist_sheet(organ, facts(organ), work(organ, [("great.principal4:22", -45.0)]))
    assert "look before moving it" in sheet.groups[0].rows[0].note
