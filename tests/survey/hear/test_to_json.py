"""What `listen --json` prints is read back whole, and other things are refused."""

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from walkboard.errors import InputError
from walkboard.listening.readings import Bound, Bounded, Either, Measured, Withheld
from walkboard.listening.types import HoldFlag, Partial, ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.plausible import AIR_CELSIUS
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.survey.hear.to_json import walk_from_json, walk_to_json

numbers = st.floats(allow_nan=False, allow_infinity=False, width=64)
keys = st.builds(Key, st.integers(0, 127))
common = {
    "pipe": st.builds(
        PipeRef, st.sampled_from(["great.principal4", "swell.mixture.1"]), st.integers(1, 97)
    ),
    "level_db": st.none() | numbers,
    "start_s": numbers,
    "end_s": numbers,
    "flags": st.lists(st.sampled_from(ReadingFlag), unique=True).map(tuple),
    "name_sureness": st.none() | st.floats(0, 1),
    "beat_hz": st.none() | st.floats(0, 1e3),
    "partials": st.lists(st.builds(Partial, st.integers(1, 99), numbers), max_size=2).map(tuple),
}
twos = st.tuples(numbers, numbers)
bounds = st.builds(
    Bound, st.floats(1e-3, 1e5), st.floats(0, 1e6), st.none() | st.builds(Either, twos, twos)
)
readings = (
    st.builds(
        Measured,
        **common,
        hz=numbers,
        sigma_cents=st.floats(0, 1e6),
        cents=numbers,
        wander_cents=st.none() | numbers,
        named_from=st.none() | bounds,
    )
    | st.builds(Bounded, **common, bound=bounds)
    | st.builds(Withheld, **common)
)
holds = st.builds(
    Hold,
    n=st.integers(1, 999),
    key=st.none() | keys,
    key_number=st.none() | st.integers(1, 99),
    start_s=numbers,
    end_s=numbers,
    readings=st.lists(readings, max_size=3).map(tuple),
    sureness=st.floats(0, 1),
    flags=st.lists(st.sampled_from(HoldFlag), unique=True).map(tuple),
)
walks = st.builds(
    HeardWalk,
    file=st.text(),
    sound=st.builds(
        SoundInfo, st.floats(0, 1e6), st.integers(8000, 192000), st.integers(1, 8), st.text()
    ),
    organ=st.text(),
    drawn=st.lists(st.text(), max_size=3).map(tuple),
    air_celsius=st.none() | st.floats(AIR_CELSIUS.low, AIR_CELSIUS.high),
    holds=st.lists(holds, max_size=3).map(tuple),
    silent_keys=st.lists(keys, max_size=3).map(tuple),
    warnings=st.lists(st.text(), max_size=2).map(tuple),
)


@given(walks)
def test_a_walk_comes_back_as_it_was_written(walk: HeardWalk) -> None:
    assert walk_from_json(json.loads(json.dumps(walk_to_json(walk)))) == walk


def agreed() -> dict[str, Any]:
    """The example of the interface, as it was agreed."""
    return {
        "format": 1,
        "sound": {"file": "walk.flac", "seconds": 271.4, "sample_rate": 48000},
        "organ": "Harbour Hall",
        "drawn": ["great.principal4"],
        "air_celsius": 17.2,
        "holds": [
            {
                "n": 1, "key": "C2", "key_number": 1, "start_s": 1.02, "end_s": 4.98, "flags": [],
                "readings": [
                    {"pipe": "great.principal4:1", "hz": 130.91, "sigma_cents": 0.06,
                     "cents": 1.27, "level_db": -23.1, "flags": []}
                ],
            }
        ],
        "silent_keys": ["F#3"],
    }  # fmt: skip


def test_the_agreed_example_is_read() -> None:
    walk = walk_from_json(agreed())
    assert walk.holds[0].readings[0].pipe == PipeRef("great.principal4", 1)
    assert walk.silent_keys == (Key.parse("F#3"),)


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ({"format": 2}, "format 2"),
        ({}, "not readings"),
        ([], "not readings"),
        ({**agreed(), "holds": [{"n": 1}]}, r"holds\.0\.key"),
        ({**agreed(), "air_celsius": math.nan}, "air_celsius: Input should be a finite number"),
        ({**agreed(), "air_celsius": 300.0}, r"^x\.json: Air of 300 °C is out of range"),
    ],
)
def test_what_is_not_of_the_form_is_refused(value: object, message: str) -> None:
    with pytest.raises(InputError, match=message):
        walk_from_json(value, where="x.json")
