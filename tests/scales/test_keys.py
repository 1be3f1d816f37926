import pytest

from walkboard.errors import UnknownNameError
from walkboard.scales.keys import Key, keys_from


# Source: ISO 16 octave numbering by scientific pitch, and Helmholtz names as the trade writes them
# (8′ C is C2 and C, middle C is C4 and c1); numbers as in MIDI 1.0.
@pytest.mark.parametrize(
    ("scientific", "helmholtz", "semitone"),
    [
        ("C2", "C", 36),
        ("C3", "c", 48),
        ("C4", "c1", 60),
        ("A4", "a′", 69),
        ("C5", "c2", 72),
        ("F6", "f3", 89),
        ("C7", "c4", 96),
        ("C1", "C1", 24),
        ("C1", "C͵", 24),
        ("Bb3", "bb", 58),
        ("F#2", "F#", 42),
    ],
)
def test_both_ways_of_naming_a_key(scientific, helmholtz, semitone):
    assert Key.parse(scientific) == Key.from_helmholtz(helmholtz) == Key(semitone)


def test_names_go_there_and_back():
    for key in map(Key, range(128)):
        assert Key.parse(key.name) == key
    for key in map(Key, range(24, 108)):
        assert Key.from_helmholtz(key.helmholtz) == key


@pytest.mark.parametrize("name", ["", "H", "C′", "c͵", "C5", "c9", "Cb3", "do"])
def test_what_is_no_helmholtz_name_is_refused(name):
    with pytest.raises(UnknownNameError, match=r"octave|Helmholtz"):
        Key.from_helmholtz(name)


@pytest.mark.parametrize("name", ["", "H4", "C", "C#b2", "Cb-1", "C11", "C4*"])
def test_what_is_no_scientific_name_is_refused(name):
    with pytest.raises(
        UnknownNameError, match=r"not the name of a key|off any keyboard|cannot be split"
    ):
        Key.parse(name)


def test_a_keyboard_is_counted_with_both_ends():
    assert keys_from(Key.parse("C2"), Key.parse("C7")) == 61
    with pytest.raises(ValueError, match="runs upward"):
        keys_from(Key.parse("C7"), Key.parse("C2"))


@pytest.mark.parametrize(
    ("name", "german", "english"),
    [
        ("C2", "C", "CC"),
        ("B2", "H", "BB"),
        ("A#2", "B", "AA♯"),
        ("C3", "c", "C"),
        ("B3", "h", "B"),
        ("C4", "c′", "c"),
        ("F#4", "fis′", "f♯"),
        ("C6", "c′′′", "c′′"),
        ("C1", "C͵", "CCC"),
        ("D#3*", "es*", "D♯*"),
    ],
)
def test_keys_are_named_as_the_countries_do(name, german, english):
    """CC for the 8 foot C, tenor C above it: English organ handbooks; H and B: common practice."""
    assert (Key.parse(name).german, Key.parse(name).english) == (german, english)
