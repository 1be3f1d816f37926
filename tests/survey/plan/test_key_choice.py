"""Choices of keys as a tuner writes them."""

import pytest

from walkboard.errors import InputError
from walkboard.organ.model import Division
from walkboard.scales.keys import Key
from walkboard.survey.plan.key_choice import KeysWanted

MANUAL = Division("great", "Great", 61, Key.parse("C2"))


def chosen(text: str, division: Division = MANUAL) -> list[str]:
    wanted = KeysWanted.parse(text)
    keys = [division.lowest.up(n) for n in range(division.keys)]
    return [key.name for key in keys if wanted(division, key)]


def test_every_third_is_counted_from_the_keyboards_lowest_key():
    assert chosen("every=3")[:4] == ["C2", "D#2", "F#2", "A2"]
    assert len(chosen("every=3")) == 21
    from_f = Division("d", "D", 20, Key.parse("F2"))
    assert chosen("every=3", from_f)[:2] == ["F2", "G#2"]


def test_notes_are_chosen_in_every_octave():
    assert chosen("C, F#") == [
        "C2", "F#2", "C3", "F#3", "C4", "F#4", "C5", "F#5", "C6", "F#6", "C7",
    ]  # fmt: skip
    assert chosen("Gb") == chosen("F#")


def test_spans_count_both_ends_and_join_with_the_rest():
    assert chosen("C2-D2") == ["C2", "C#2", "D2"]
    assert chosen("C2–E2,every=2,C7") == ["C2", "D2", "E2", "C7"]


@pytest.mark.parametrize("text", ["every=0", "H", "C2-", "", "C99-D99", "every=x"])
def test_what_names_no_keys_is_refused(text):
    with pytest.raises(InputError, match="names no keys"):
        KeysWanted.parse(text)


def test_a_span_downward_is_refused():
    with pytest.raises(InputError, match="upward"):
        KeysWanted.parse("C5-C2")
