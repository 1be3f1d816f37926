"""Recordings of real pipes that others made (see ../shared/sounds/README.md beside the project).

The second of a pair is the first, moved by exactly known cents, so its differences test the
measurement alone. Single notes have a truth with a tolerance of their own, as real pipes move.
"""

import json
from typing import Any

import numpy as np
import pytest
import soundfile

from tests.readings import bound_of, either_of, measured
from tests.shared_files import shared
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import CombReading, Measured
from walkboard.listening.types import Comb, ReadingFlag, Spectrum


def value(given: float | None) -> float:
    assert given is not None, "a reading without a value"
    return given


def read_pipes(name: str) -> list[tuple[dict[str, Any], CombReading]]:
    sounds = shared("sounds")
    truth = json.loads((sounds / f"{name}.json").read_text())
    sound, rate = soundfile.read(sounds / f"{name}.flac", always_2d=True)
    readings = []
    for event in truth["events"]:
        hold = sound[int(event["onset_s"] * rate) : int(event["keyup_s"] * rate)]
        key_hz = 440.0 * 2.0 ** ((event["key"] - 69) / 12.0)
        (reading,) = measure_hold(hold, rate, [Comb("", key_hz)], start_s=event["onset_s"])
        readings.append((event, reading))
    assert len(readings) > 25
    return readings


def test_known_detunings_come_back_within_a_tenth_of_a_cent():
    errors, scores = [], []
    for (plain, before), (moved, after) in zip(
        read_pipes("pair_zero"), read_pipes("pair_offset"), strict=True
    ):
        assert plain["key"] == moved["key"]
        known = moved["known_offset_cents"] - plain["known_offset_cents"]
        errors.append(1200.0 * np.log2(measured(after).hz / measured(before).hz) - known)
        scores.append(
            errors[-1] / np.hypot(measured(before).sigma_cents, measured(after).sigma_cents)
        )
    assert np.quantile(np.abs(errors), 0.95) < 0.1
    assert np.mean(np.abs(scores) < 2.0) > 0.9


@pytest.mark.parametrize("name", ["pair_zero", "pair_offset", "faults"])
def test_single_pipes_lie_within_their_truth(name):
    for event, reading in read_pipes(name):
        error = 1200.0 * np.log2(measured(reading).hz / event["true_hz"])
        assert abs(error) < event["truth_tol_cents"] + 0.3
        assert reading.flags == ()


RANKS = {"8ft": 1.0, "4ft": 2.0, "2 2/3ft": 3.0}


def read_ranks(name: str) -> list[list[tuple[dict[str, Any], CombReading]]]:
    """Hold by hold, each rank that sounds with its reading; all are stopped flutes."""
    sounds = shared("sounds")
    truth = json.loads((sounds / f"{name}.json").read_text())
    sound, rate = soundfile.read(sounds / f"{name}.flac", always_2d=True)
    holds = []
    for event in truth["events"]:
        hold = sound[int(event["onset_s"] * rate) : int(event["keyup_s"] * rate)]
        key_hz = 440.0 * 2.0 ** ((event["key"] - 69) / 12.0)
        combs = [
            Comb(rank["rank"], key_hz * RANKS.get(rank["rank"], 1.0), Spectrum.ODD)
            for rank in event["ranks"]
        ]
        readings = measure_hold(hold, rate, combs, start_s=event["onset_s"])
        holds.append(list(zip(event["ranks"], readings, strict=True)))
    return holds


def test_three_ranks_at_once_lie_within_their_truth_where_they_are_read():
    """Stopped flutes of 8 + 4 + 2⅔: hardly a partial is a pipe's own, so not all can be read."""
    readings = [pair for hold in read_ranks("three_ranks") for pair in hold]
    given = [(truth, reading) for truth, reading in readings if isinstance(reading, Measured)]
    assert len(given) >= 0.5 * len(readings)
    for truth, reading in given:
        error = 1200.0 * np.log2(measured(reading).hz / truth["true_hz"])
        assert abs(error) < truth["truth_tol_cents"] + 0.3
    assert all(reading.flags for _, reading in readings if not isinstance(reading, Measured))


def test_two_alike_unisons_are_separated_but_not_named():
    holds = read_ranks("two_unisons")
    resolved = 0
    for (first, one), (second, other) in holds:
        assert ReadingFlag.MERGED in one.flags
        assert ReadingFlag.MERGED in other.flags
        if bound_of(one).either is None:
            continue
        resolved += 1
        tolerance = max(first["truth_tol_cents"], second["truth_tol_cents"]) + 0.3
        for heard, truth in zip(
            sorted(either_of(one).hz), sorted((first["true_hz"], second["true_hz"])), strict=True
        ):
            assert abs(1200.0 * np.log2(heard / truth)) < tolerance
        if one.beat_hz is not None:
            gap_hz = abs(first["true_hz"] - second["true_hz"])
            assert abs(one.beat_hz - gap_hz) < 0.05
    assert resolved >= 0.75 * len(holds)
