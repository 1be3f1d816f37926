"""Phrases that a tuner reads."""

from __future__ import annotations

import re

import pytest

from tests.condition.organs import readings, small_organ
from walkboard.condition.assessing import assess
from walkboard.condition.state import PipeCents
from walkboard.organ.model import PipeRef
from walkboard.planning.pitch import division_pitches
from walkboard.planning.standing import Standing, standings
from walkboard.planning.words import explain, move, size, why

ORGAN = small_organ()


def standing_of(rank: str, number: int, cents: float, level: float | None = -25.0):
    pipes = readings(ORGAN, ["great.principal", "great.octave"], lambda _: 0.0, 18.0)
    pipes += readings(ORGAN, ["swell.flute", "swell.viola"], lambda _: 0.0, 18.0)
    pipe = PipeRef(rank, number)
    pipes = [p for p in pipes if p.pipe != pipe]
    pipes.append(PipeCents(pipe, cents, 0.05, level, 18.0))
    condition = assess(ORGAN, pipes, {"great": 18.0, "swell": 18.0})
    pitches = division_pitches(ORGAN, condition, None)
    found: Standing = next(s for s in standings(ORGAN, pitches, pipes) if s.pipe == pipe)
    return found, pitches[found.rank.division]


@pytest.mark.parametrize(
    ("rank", "number", "cents", "level", "phrase"),
    [
        ("great.trumpet", 18, -7.1, -15.0, "7 cents flat of the flues, loud, in the tenor"),
        ("great.octave", 5, 12.2, -25.0, "12 cents sharp of the flues, in the bass"),
        ("great.principal", 61, 9.0, -40.0, "9 cents sharp of the flues, soft, in the top"),
        ("swell.celeste", 30, -9.0, -25.0, "9 cents flat of its distance from its partner, in the"),
    ],
)
def test_why_says_how_far_how_loud_and_where(rank, number, cents, level, phrase):
    standing, pitch = standing_of(rank, number, cents, level)
    assert why(standing, 0.0, pitch).startswith(phrase)


def test_the_reference_is_taken_off():
    standing, pitch = standing_of("great.octave", 5, 12.2)
    assert why(standing, 5.0, pitch).startswith("7 cents sharp")


def test_sizes_and_moves():
    assert [size(c) for c in (7.2, -0.4, 1.0, -2.04)] == [
        "7 cents sharp",
        "0.4 cent flat",
        "1.0 cent sharp",
        "2.0 cents flat",
    ]
    assert (move(3.0), move(-3.0)) == ("flatter", "sharper")


def test_one_sentence_takes_a_cost_apart_and_adds_up():
    standing, _ = standing_of("great.trumpet", 18, -7.1, -15.0)
    sentence = explain(standing)
    assert sentence.count(". ") == 0
    assert sentence.endswith(".")
    share, whole, level, register, kind, cost = (
        float(re.search(pattern, sentence).group(1))  # type: ignore[union-attr]
        for pattern in (
            r"is ([\d.]+) of wholly",
            r"counts ([\d.]+)",
            r"loudness ([\d.]+)",
            r"tenor ([\d.]+)",
            r"reed ([\d.]+)",
            r"costs ([\d.]+)",
        )
    )
    assert whole == pytest.approx(level * register * kind, abs=0.03)
    assert cost == pytest.approx(share * whole, abs=0.02)
    # 7.1 cents of F3 (174.6 Hz) are 0.72 beats a second: f·(2^(7.1/1200) − 1)
    assert "0.7 times a second" in sentence
