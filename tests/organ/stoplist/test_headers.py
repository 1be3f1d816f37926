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


def values_of(line: str) -> dict[str, str | float]:
    """Everything that the row of one line says."""
    (row,) = read_stop_list(line).rows
    return dict(row.values)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (
            "a' = 442 Hz bei 20°, Winddruck 75 mm, Vallotti",
            {"a4_hz": 442.0, "at_celsius": 20.0, "wind_mm": 75.0, "temperament": "vallotti"},
        ),
        ("Tuned to A440 at 16 degrees C", {"a4_hz": 440.0, "at_celsius": 16.0}),
        ("Diapason : la 435 à 15°", {"a4_hz": 435.0, "at_celsius": 15.0}),
        ("Wind pressure 70 mm, equal temperament", {"wind_mm": 70.0, "temperament": "equal"}),
        ("Total : 1 128 tuyaux", {"pipes": 1128.0}),
        ("Total 1128 pipes, wind pressure 70 mm", {"pipes": 1128.0, "wind_mm": 70.0}),
        (
            "Organo, una tastiera di 45 note (Do1 - Do5, prima ottava corta)",
            {"manual": 45.0, "manual_octave": "short"},
        ),
        (
            "Compass GG (no GG sharp) to f3",
            {"manual_lowest": "G1", "manual_missing": "G#1"},
        ),
    ],
)
def test_every_fact_of_a_line_is_kept(line: str, said: dict[str, str | float]) -> None:
    found = values_of(line)
    assert {name: found.get(name) for name in said} == said


def test_an_unknown_temperament_beside_a_pitch_raises_a_question() -> None:
    (row,) = read_stop_list("Stimmung: Neidhard 1729, a' = 442 Hz bei 20 °C").rows
    assert "temperament" not in row.values
    assert any("Neidhard" in guess.why for guess in row.guesses)
