"""Lines above the first division, with several facts in one line, as title pages have them."""

import tomllib

import pytest

from walkboard.organ.stoplist.describing import describe
from walkboard.organ.stoplist.entries import State
from walkboard.organ.stoplist.reading import read_stop_list

STOPS = "Great\nPrincipal 8\nPedal\nSubbass 16\n"


@pytest.mark.parametrize(
    ("line", "temperament", "hz", "celsius"),
    [
        ("a' = 440 Hz at 18 °C, Vallotti", "vallotti", 440.0, 18.0),
        ("Pitch: 415 Hz; quarter comma meantone", "meantone 1/4", 415.0, 18.0),
        ("Stimmung: a1 = 442 Hz bei 20 °C (gleichstufig)", "equal", 442.0, 20.0),
    ],
)
def test_pitch_and_temperament_in_one_line(
    line: str, temperament: str, hz: float, celsius: float
) -> None:
    found = tomllib.loads(describe(read_stop_list(f"{line}\n{STOPS}")).toml)
    assert found["temperament"] == temperament
    assert found["pitch"] == {"a4_hz": hz, "at_celsius": celsius}


def test_a_compass_before_the_divisions_counts_for_all_of_them() -> None:
    read = read_stop_list(f"Compass C–g³ / C–f¹\n{STOPS}")
    assert {d.id: d.keys for d in read.divisions} == {"great": 56, "pedal": 30}
    assert all(row.state is State.UNDERSTOOD for row in read.rows)
    read = read_stop_list(f"Compass C–f³ / C–d¹\n{STOPS}")
    assert {d.id: d.keys for d in read.divisions} == {"great": 54, "pedal": 27}
