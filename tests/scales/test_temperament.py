import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from walkboard.errors import InputError, UnknownNameError
from walkboard.quantities import PURE_MAJOR_THIRD_CENTS, PYTHAGOREAN_COMMA_CENTS
from walkboard.scales.beats import beat_of_keys
from walkboard.scales.keys import Key
from walkboard.scales.recipes import recipes, share_cents
from walkboard.scales.temperament import (
    FIFTHS,
    NOTES,
    Temperament,
    from_fifths,
    known,
    names,
    pitch_class,
)

C4 = Key(60)
every_name = pytest.mark.parametrize("name", names())


def thirds(temperament: Temperament) -> list[float]:
    """Major thirds on all twelve keys [cents]."""
    return [temperament.interval_cents(Key(k), Key(k + 4)) for k in range(60, 72)]


@every_name
def test_the_circle_of_fifths_closes(name):
    total = sum(known(name).tempering_cents.values())
    np.testing.assert_allclose(total, -PYTHAGOREAN_COMMA_CENTS, atol=1e-9)


@every_name
def test_fifths_come_back_out_as_they_went_in(name):
    temperament = known(name)
    again = from_fifths(name, temperament.tempering_cents)
    np.testing.assert_allclose(again.cents_above_c, temperament.cents_above_c, atol=1e-9)
    for fifth, cents in recipes()[name].tempering_cents.items():
        np.testing.assert_allclose(temperament.tempering_cents[fifth], cents, atol=1e-9)


@every_name
def test_every_recipe_names_its_source(name):
    assert len(recipes()[name].source) > 10


@every_name
def test_a_rotation_moves_the_pattern_and_changes_nothing_else(name):
    plain = known(name)
    for root in NOTES:
        moved = known(f"{name} on {root}")
        np.testing.assert_allclose(
            sorted(moved.tempering_cents.values()),
            sorted(plain.tempering_cents.values()),
            atol=1e-9,
        )
        low = Key(60 + pitch_class(root))
        np.testing.assert_allclose(
            [moved.interval_cents(low, low.up(step)) for step in range(13)],
            [plain.interval_cents(C4, C4.up(step)) for step in range(13)],
            atol=1e-9,
        )


# Source: encyclopaedia article on Young's temperament, which prints these fifths and thirds.
def test_young_1_has_its_printed_fifths_and_thirds():
    young = known("young 1")
    fifths = sorted(701.955 + t for t in young.tempering_cents.values())
    np.testing.assert_allclose(fifths, [697.92] * 4 + [700.12] * 4 + [701.96] * 4, atol=0.0051)
    printed = [391.69, 393.89, 396.09, 400.12, 404.15, 405.99, 407.82]
    found = sorted({round(third, 1) for third in thirds(young)})
    np.testing.assert_allclose(found, printed, atol=0.06)


# Source: the same article, and that on Vallotti's: tempered fifth of 698.04 cents.
@pytest.mark.parametrize("name", ["young 2", "vallotti"])
def test_six_fifths_of_young_and_vallotti_are_tempered_alike(name):
    fifths = sorted(701.955 + t for t in known(name).tempering_cents.values())
    np.testing.assert_allclose(fifths, [698.045] * 6 + [701.955] * 6, atol=0.005)


def test_vallotti_is_young_2_a_fifth_flatward():
    np.testing.assert_allclose(
        known("vallotti").cents_above_c, known("young 2 on F").cents_above_c, atol=1e-9
    )


# Source: P. Aaron 1523, Toscanello: the thirds of quarter-comma meantone are pure; eight of them
# within the wolf.
def test_quarter_comma_meantone_has_eight_pure_thirds():
    pure = [t for t in thirds(known("meantone 1/4")) if abs(t - PURE_MAJOR_THIRD_CENTS) < 1e-6]
    assert len(pure) == 8


# Source: T. Dent from the print of 1724, tuning list 2005: G is 698 and not 696 cents.
def test_neidhardt_g_follows_the_original_print():
    assert round(known("neidhardt 1724 iii").cents(Key.parse("G4"))) == 698


# Source: B. Lehman's practical page: where C-G and G-D carry a sixth of a comma, the fourth D-G
# beats one and a half times as fast as the fifth C-G. Exactly 4 f(D)/(3 f(C)) = 1.493.
def test_lehman_fourth_beats_half_as_fast_again_as_the_fifth():
    temperament = known("lehman 2005")
    fifth = beat_of_keys(C4, Key.parse("G4"), 440.0, temperament).beat_hz
    fourth = beat_of_keys(Key.parse("D4"), Key.parse("G4"), 440.0, temperament).beat_hz
    np.testing.assert_allclose(abs(fourth / fifth), 1.5, atol=0.01)


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("Equal", "equal"),
        ("EQUAL TEMPERAMENT", "equal"),
        ("Werckmeister-III", "werckmeister iii"),
        ("werckmeister 3", "werckmeister iii"),
        ("1/4-comma meantone", "meantone 1/4"),
        ("Quarter-comma meantone", "meantone 1/4"),
        ("Kirnberger 2", "kirnberger ii"),
        ("Young (1802)", "young 2"),
        ("  vallotti ", "vallotti"),
    ],
)
def test_names_may_be_spelt_as_they_are_spoken(typed, name):
    assert known(typed) == known(name)


def test_no_name_is_taken_twice():
    spelt = [n for r in recipes().values() for n in (r.name, *r.also)]
    for name in spelt:
        assert known(name).name in recipes()
    assert len(set(spelt)) == len(spelt)


@pytest.mark.parametrize("name", ["equall", "", "on D", "werckmeister vi", "rameau 1726"])
def test_an_unknown_name_is_reported_what_there_is(name):
    with pytest.raises(UnknownNameError, match="There are: equal, pythagorean, meantone 1/4"):
        known(name)


def test_a_root_that_is_no_note_is_refused():
    with pytest.raises(UnknownNameError, match="'H' is not the name of a note"):
        known("vallotti on H")


def test_the_mark_of_a_fifth_is_read_however_spelt():
    spelt = {"c–g": -5.865, "G - D": -5.865, "D-A": -5.865, "b-gb": -5.865}
    np.testing.assert_allclose(
        from_fifths("own", spelt).cents_above_c, known("werckmeister iii").cents_above_c, atol=1e-3
    )


def test_the_twelfth_fifth_takes_what_is_left():
    eleven = dict.fromkeys([f for f in FIFTHS if f != "G#-Eb"], -5.37657)
    np.testing.assert_allclose(
        from_fifths("own", eleven).cents_above_c, known("meantone 1/4").cents_above_c, atol=1e-4
    )


def test_rounded_figures_are_shared_out_and_pure_fifths_stay_pure():
    own = from_fifths("own", dict.fromkeys(["C-G", "G-D", "D-A", "B-F#"], -5.9))
    np.testing.assert_allclose(own.tempering_cents["C-G"], -5.865, atol=1e-3)
    np.testing.assert_allclose(own.tempering_cents["F-C"], 0.0, atol=1e-9)


@pytest.mark.parametrize(
    ("fifths", "message"),
    [
        ({"C-G": -5.9, "G-D": -5.9}, "misses by -11.66 cents"),
        ({}, "does not close"),
        ({"C-F": -5.9}, "'C-F' is not a fifth"),
        ({"CG": -5.9}, "'CG' is not a fifth"),
        ({"C-H": -5.9}, "'H' is not the name of a note"),
        ({"A#-F": -5.9, "Bb-F": -5.9}, "given twice"),
        ({"C-G": math.nan}, "tempered by nan cents"),
        ({"C-G": -120.0}, "tempered by -120.0 cents"),
        ({"C-G": -99.0, "G-D": -99.0, "D-A": 99.0, "A-E": 75.54}, "within a semitone"),
    ],
)
def test_fifths_that_make_no_temperament_are_refused(fifths, message):
    with pytest.raises(InputError, match=message):
        from_fifths("own", fifths)


@given(st.lists(st.floats(-7.0, 7.0), min_size=11, max_size=11))
def test_any_eleven_fifths_make_a_temperament_with_those_fifths(cents):
    # eleven times 7 and the 1.96 of equal temperament stay within a semitone of it
    given_fifths = dict(zip(FIFTHS[:11], cents, strict=True))
    made = from_fifths("own", given_fifths)
    for fifth, size in given_fifths.items():
        np.testing.assert_allclose(made.tempering_cents[fifth], size, atol=1e-9)


@pytest.mark.parametrize("bad", ["1/4 PC", "-1/4 XC", "", "-1/4PC and more"])
def test_a_share_of_a_comma_is_spelt_out(bad):
    with pytest.raises(ValueError, match="share of commas"):
        share_cents(bad)


def test_shares_add_up():
    np.testing.assert_allclose(
        share_cents("-1/4 PC +3/16 SC"),
        1200 * (-0.25 * math.log2(Fraction(3**12, 2**19)) + 0.1875 * math.log2(81 / 80)),
        atol=1e-9,
    )


def test_offsets_are_nought_at_a():
    for name in names():
        assert known(name).offset_cents(Key.parse("A3")) == 0.0
