"""Recordings of real pipes that others made (see ../shared/sounds/README.md beside the project).

The second of a pair is the first, moved by exactly known cents, so its differences test the
measurement alone. Single notes have a truth with a tolerance of their own, as real pipes move.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from walkboard.listening.heard import Comb, CombReading
from walkboard.listening.measuring import measure_hold

SOUNDS = Path(__file__).parents[3] / "shared" / "sounds"


def value(given: float | None) -> float:
    assert given is not None, "a reading without a value"
    return given


def read_pipes(name: str) -> list[tuple[dict[str, Any], CombReading]]:
    if not SOUNDS.exists():
        pytest.skip(f"the recordings of real pipes are not at {SOUNDS}")
    told = json.loads((SOUNDS / f"{name}.json").read_text())
    sound, rate = soundfile.read(SOUNDS / f"{name}.flac", always_2d=True)
    readings = []
    for event in told["events"]:
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
        errors.append(1200.0 * np.log2(value(after.hz) / value(before.hz)) - known)
        scores.append(errors[-1] / np.hypot(value(before.sigma_cents), value(after.sigma_cents)))
    assert np.quantile(np.abs(errors), 0.95) < 0.1
    assert np.mean(np.abs(scores) < 2.0) > 0.9


@pytest.mark.parametrize("name", ["pair_zero", "pair_offset", "faults"])
def test_single_pipes_lie_within_their_truth(name):
    for event, reading in read_pipes(name):
        error = 1200.0 * np.log2(value(reading.hz) / event["true_hz"])
        assert abs(error) < event["truth_tol_cents"] + 0.3
        assert reading.flags == ()
