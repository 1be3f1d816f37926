"""Laying the bearings."""

import pytest

from walkboard.scales import bearings
from walkboard.scales.keys import Key
from walkboard.scales.pitch import key_hz
from walkboard.scales.temperament import known, names

EQUAL = known("equal")
OCTAVE = bearings.temperament_octave(440.0, EQUAL)

# Beats a second in equal temperament at A4 = 440 Hz: J. Neurosci. 32:12251 (2012), table 1, after
# Capleton 2007, printed unsigned to 0.1; signs by theory (fifths and minor thirds are narrow).
PRINTED = {
    ("A3", "E4"): -0.7,
    ("B3", "E4"): 1.1,
    ("C4", "F4"): 1.2,
    ("A3", "C#4"): 8.7,
    ("C4", "E4"): 10.4,
    ("D4", "F#4"): 11.7,
}


def test_every_key_of_the_octave_is_set_once_by_one_that_is_set_already() -> None:
    placed = {bearings.A4}
    for step in OCTAVE[:-1]:
        other = step.by.lower if step.key == step.by.upper else step.by.upper
        assert other in placed
        assert step.key not in placed
        assert all({check.lower, check.upper} <= placed | {step.key} for check in step.checks)
        placed.add(step.key)
    assert placed == {Key(s) for s in range(bearings.A3.semitone, bearings.A4.semitone + 1)}
    assert OCTAVE[-1].closes
    assert {OCTAVE[-1].by.lower, OCTAVE[-1].by.upper} == {Key.parse("D4"), bearings.A4}


def test_the_beats_are_those_that_are_printed() -> None:
    found = {
        (interval.lower.name, interval.upper.name): interval.beat_hz
        for step in OCTAVE
        for interval in (step.by, *step.checks)
    }
    assert set(PRINTED) <= set(found)
    for pair, printed in PRINTED.items():
        assert found[pair] == pytest.approx(printed, abs=0.05)


def test_thirds_get_faster_upward_in_equal_temperament() -> None:
    thirds = sorted(
        (check.lower, check.beat_hz)
        for step in OCTAVE
        for check in step.checks
        if check.name == "major third"
    )
    assert len(thirds) == 9
    assert [beat for _, beat in thirds] == sorted(beat for _, beat in thirds)


@pytest.mark.parametrize("name", [n for n in names() if n != "equal"][:6])
def test_who_makes_every_interval_beat_as_asked_has_the_temperament(name: str) -> None:
    temperament = known(name)
    steps = bearings.temperament_octave(415.0, temperament)
    heard = {bearings.A4: 415.0}
    for step in steps[:-1]:
        # begin five cents off, measure, move as advised
        trial = key_hz(step.key, 415.0, temperament) * 2.0 ** (5.0 / 1200.0)
        both = {**heard, step.key: trial}
        move = bearings.to_move_cents(step, both[step.by.lower], both[step.by.upper])
        heard[step.key] = trial * 2.0 ** (move / 1200.0)
    due = bearings.targets_hz(steps, 415.0, temperament)
    assert heard == pytest.approx(dict(due), rel=1e-9)
    last = steps[-1].by
    closing = bearings.measure_interval(last, heard[last.lower], heard[last.upper])
    assert closing.cents == pytest.approx(0.0, abs=1e-6)


def test_an_error_on_the_way_shows_in_the_checks() -> None:
    heard = dict(bearings.targets_hz(OCTAVE, 440.0, EQUAL))
    heard[Key.parse("E4")] *= 2.0 ** (2.0 / 1200.0)
    step = next(s for s in OCTAVE if s.key == Key.parse("C4"))
    seen = {
        (h.interval.lower.name, h.interval.upper.name): h
        for h in bearings.measure_checks(step.checks, heard)
    }
    assert seen["C4", "E4"].cents == pytest.approx(2.0, abs=1e-6)
    assert seen["A3", "C4"].cents == pytest.approx(0.0, abs=1e-6)


def test_octaves_go_out_to_both_ends_and_are_still() -> None:
    steps = bearings.octaves_out(Key.parse("C2"), Key.parse("C7"), 440.0, EQUAL)
    assert len(steps) == 61 - 13
    assert all(abs(step.by.beat_hz) < 1e-6 for step in steps)
    assert steps[0].key == Key.parse("A#4")
    assert steps[0].words == "set A#4: octave A#3–A#4, still"
    assert {step.key for step in steps}.isdisjoint({s.key for s in OCTAVE})
    with pytest.raises(ValueError, match="A3 to A4"):
        bearings.octaves_out(Key.parse("C4"), Key.parse("C7"), 440.0, EQUAL)
