"""Keys as a key holder reads them: runs, and what they take."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from walkboard.scales.keys import Key
from walkboard.survey.plan.walk_plan import Pace, runs_of


def keys(text: str) -> list[Key]:
    return [Key.parse(name) for name in text.split()]


@pytest.mark.parametrize(
    ("walked", "words"),
    [
        ("C2", ["C2"]),
        ("C2 C#2 D2", ["C2–D2"]),
        ("C2 C#2 D2 C4 C#4", ["C2–D2", "C4–C♯4"]),
        ("C2 D#2 F#2 A2", ["C2–A2, only C, D♯, F♯ and A"]),
        ("C2 C3", ["C2", "C3"]),
        ("C2 F#2 C3 F#3", ["C2–F♯3, only C and F♯"]),
        ("C2 F2 A#2 D#3", ["C2–D♯3, every 5th key"]),
        ("C2 C3 C4", ["C2–C4, only C"]),
    ],
)
def test_runs_are_read_as_they_are_walked(walked, words):
    assert [run.words() for run in runs_of(keys(walked))] == words


@given(st.sets(st.integers(36, 96), min_size=1))
def test_runs_hold_every_key_once_and_upward(semitones):
    chosen = [Key(s) for s in sorted(semitones)]
    assert [key for run in runs_of(chosen) for key in run.keys] == chosen


def test_a_walk_of_61_keys_takes_its_holds_and_its_setting():
    # by hand: 61 × (4 + 0.3) s = 262.3 s = 4.3717 min, and 0.3 min
    assert_allclose(Pace().minutes(1, 61), 4.6717, atol=1e-4)


def test_one_pipe_alone_may_be_held_shorter_and_never_longer():
    # by hand: 61 × (2 + 0.3) s = 140.3 s = 2.3383 min, and 0.3 min
    assert_allclose(Pace(alone_s=2.0).of_one_pipe.minutes(1, 61), 2.6383, atol=1e-4)
    assert Pace().of_one_pipe == Pace()
    with pytest.raises(ValueError, match="no longer than that of several"):
        Pace(3.0, alone_s=4.0)
