"""Phrases that a tuner reads."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from tests.condition.organs import readings, small_organ
from walkboard.condition.assess import assess
from walkboard.condition.state import PipeCents
from walkboard.organ.model import PipeRef
from walkboard.planning.pitch import division_pitches
from walkboard.planning.reasons import explain, move, size, why
from walkboard.planning.value.pipe_offset import PipeOffset
from walkboard.planning.value.pipe_offsets import pipe_offsets

ORGAN = small_organ()


def offset_of(rank: str, number: int, cents: float, level: float | None = -25.0):
    pipes = readings(ORGAN, ["great.principal", "great.octave"], lambda _: 0.0, 18.0)
    pipes += readings(ORGAN, ["swell.flute", "swell.viola"], lambda _: 0.0, 18.0)
    pipe = PipeRef(rank, number)
    pipes = [p for p in pipes if p.pipe != pipe]
    pipes.append(PipeCents(pipe, cents, 0.05, level, 18.0))
    condition = assess(ORGAN, pipes, {"great": 18.0, "swell": 18.0})
    pitches = division_pitches(ORGAN, condition, None)
    found: PipeOffset = next(s for s in pipe_offsets(ORGAN, pitches, pipes) if s.pipe == pipe)
    return found, pitches[found.rank.division]


@pytest.mark.parametrize(
    ("rank", "number", "cents", "level", "phrase"),
    [
        ("great.trumpet", 18, -7.1, -15.0, "7 cents flat of the flues, loud, in the tenor"),
        ("great.octave", 5, 12.2, -25.0, "12 cents sharp of the flues, in the bass"),
        ("great.principal", 61, 9.0, -40.0, "9 cents sharp of the flues, soft, in the top"),
        (
            "swell.celeste",
            30,
            -9.0,
            -25.0,
            "9 cents flat of its distance from its partner as that",
        ),
    ],
)
def test_why_says_how_far_how_loud_and_where(rank, number, cents, level, phrase):
    offset, pitch = offset_of(rank, number, cents, level)
    assert why(offset, 0.0, pitch).startswith(phrase)


def test_the_reference_is_subtracted():
    offset, pitch = offset_of("great.octave", 5, 12.2)
    assert why(offset, 5.0, pitch).startswith("7 cents sharp")


def test_sizes_and_moves():
    assert [size(c) for c in (7.2, -0.4, 1.0, -2.04)] == [
        "7 cents sharp",
        "0.4 cent flat",
        "1.0 cent sharp",
        "2.0 cents flat",
    ]
    assert (move(3.0), move(-3.0)) == ("flatter", "sharper")


def test_one_sentence_takes_a_cost_apart_and_adds_up():
    offset, _ = offset_of("great.trumpet", 18, -7.1, -15.0)
    sentence = explain(offset)
    assert sentence.count(". ") == 0
    assert sentence.endswith(".")
    share, whole, level, company, register, drawn, cost = (
        float(re.search(pattern, sentence).group(1))  # type: ignore[union-attr]
        for pattern in (
            r"is ([\d.]+) of as rough",
            r"counts ([\d.]+)",
            r"loudness ([\d.]+)",
            r"company ([\d.]+)",
            r"tenor ([\d.]+)",
            r"drawn ([\d.]+)",
            r"costs ([\d.]+)",
        )
    )
    assert whole == pytest.approx(level * company * register * drawn, abs=0.03)
    assert cost == pytest.approx(share * whole, abs=0.02)
    # 7.1 cents of F3 (174.6 Hz) are 0.72 beats a second at the fundamental: f·(2^(7.1/1200) − 1),
    # and as many times more at the partial that beats
    beats, partial = (
        float(re.search(pattern, sentence).group(1))  # type: ignore[union-attr]
        for pattern in (r"beats ([\d.]+) times", r"near its partial ([\d.]+)")
    )
    assert beats == pytest.approx(0.716 * partial, abs=0.1)


def test_the_tuners_changes_and_the_events_effect_are_reported():
    offset, _ = offset_of("great.octave", 30, 9.0)
    changed = replace(offset, weight=replace(offset.weight, own=0.5, use=1.6))
    sentence = explain(changed)
    assert "the event's use 1.60 × your own 0.50" in sentence
    assert "middle" not in sentence


def test_a_risky_pipe_and_a_forecast_are_labelled():
    offset, pitch = offset_of("great.twelfth", 30, 40.0)
    assert "look before moving it" in why(offset, 0.0, pitch)
    forecast = replace(offset, is_heard=False)
    assert why(forecast, 0.0, pitch).startswith("not heard, probably 40 cents sharp")
    assert "was not heard and probably stands" in explain(forecast)


def test_a_pipe_that_may_not_be_touched_is_explained_as_that():
    offset, _ = offset_of("great.old", 30, 9.0)
    assert explain(offset).endswith("and it is not to be touched.")
