"""The pitch pipes should have, against published figures and trade practice."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from tests.published.rows import rows
from tests.strategies import organs
from walkboard.errors import InputError, UnknownNameError
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import cents_off, target_hz
from walkboard.scales.keys import Key

HALL = read_organ(examples.hall())


def one_rank(
    pitch: str, *, keys: int = 61, a4_hz: float = 440.0, at_celsius: float = 20.0, more: str = ""
) -> Organ:
    """An organ of one rank of open pipes."""
    return read_organ(f"""
        format = 1
        name = "One rank"
        temperament = "equal"
        pitch = {{a4_hz = {a4_hz}, at_celsius = {at_celsius}}}
        [[division]]
        id = "d"
        name = "D"
        keys = {keys}
        [[rank]]
        id = "r"
        division = "d"
        name = "R"
        family = "open"
        {pitch}
        pipes = {keys}
        tuned_by = "slide"
        {more}
    """)


FEET = [row for row in rows() if row.id.startswith("mut.")]
NUMERALS = [row for row in rows() if row.id.startswith("mix.numeral.")]
COMPASSES = [row for row in rows() if row.id.startswith("compass.")]


def test_the_published_rows_are_there() -> None:
    assert (len(FEET), len(NUMERALS), len(COMPASSES)) == (29, 21, 7)


@pytest.mark.parametrize("row", FEET, ids=lambda row: row.inputs["feet"])
def test_a_stop_of_any_feet_is_pure_to_its_key(row) -> None:
    organ = one_rank(f'feet = "{row.inputs["feet"]}"', keys=13)
    # C3 of an 8′ stop is 130.813 Hz at A4 = 440 (arithmetic of equal temperament)
    hz = target_hz(organ, PipeRef("r", 13), None)
    assert_allclose(hz / 130.8127827, row.value, rtol=1e-8, err_msg=row.source)


@pytest.mark.parametrize("row", NUMERALS, ids=lambda row: str(row.inputs["numeral"]))
def test_a_mixture_row_of_any_numeral_is_pure_to_its_key(row) -> None:
    breaks = f'breaks = [{{from = "C2", interval = {row.inputs["numeral"]}}}]'
    hz = target_hz(one_rank(breaks, keys=13), PipeRef("r", 13), None)
    assert_allclose(hz / 130.8127827, row.value, rtol=1e-8, err_msg=row.source)


@pytest.mark.parametrize("row", COMPASSES, ids=lambda row: row.inputs["compass"])
def test_a_compass_ends_on_its_key(row) -> None:
    """Helmholtz names of the published compasses: C-f3 is 54 keys."""
    last = row.inputs["compass"].rpartition("-")[2]
    division = one_rank('feet = "8"', keys=int(row.value)).division("d")
    # the table writes f3 for f three times accented, which is F6
    assert division.highest.helmholtz == last[0] + "′" * int(last[1])


@pytest.mark.parametrize(
    ("feet", "offset_cents"),
    [("1 3/5", -13.69), ("1 1/3", 1.96), ("1 1/7", -31.17), ("2 2/3", 1.96), ("8/9", 3.91)],
)
def test_mutations_differ_from_the_tempered_scale(feet: str, offset_cents: float) -> None:
    """Pure less tempered: arithmetic, 1200·log2(5/4) − 400 and so on."""
    hz = target_hz(one_rank(f'feet = "{feet}"', keys=13), PipeRef("r", 1), None)
    semitones = 12 * math.log2(hz / 440.0)
    assert_allclose(100 * (semitones - round(semitones)), offset_cents, atol=0.005)


def test_octaves_of_c_at_concert_pitch() -> None:
    """C of 32, 16, 8, 4, 2, 1 foot at A4 = 440 Hz: ISO 16:1975 and equal temperament."""
    found = [
        target_hz(one_rank(f'feet = "{feet}"', keys=1), PipeRef("r", 1), None)
        for feet in (32, 16, 8, 4, 2, 1)
    ]
    assert_allclose(found, [16.352, 32.703, 65.406, 130.813, 261.626, 523.251], atol=5e-4)


def test_organ_of_18_degrees_in_winter() -> None:
    """440 Hz at 18 °C was read as 437 Hz at 15 to 16 °C: field report by an organist (Organduo)."""
    organ = one_rank('feet = "8"', at_celsius=18.0)
    a4 = PipeRef("r", 34)
    assert_allclose(target_hz(organ, a4, None), 440.0, rtol=1e-12)
    for celsius in (15.0, 16.0):
        assert_allclose(target_hz(organ, a4, celsius), 437.0, atol=2.0)


def test_flues_rise_by_three_cents_a_degree() -> None:
    """2.9 to 3 cents per °C: P. Coenraads and others, of open metal pipes."""
    organ = one_rank('feet = "8"', at_celsius=20.0)
    a4 = PipeRef("r", 34)
    rise = -cents_off(target_hz(organ, a4, 20.0), organ, a4, 21.0)
    assert 2.9 <= rise <= 3.0


def test_reeds_are_set_to_the_flues_of_their_air() -> None:
    reed, flue = PipeRef("great.trumpet", 13), PipeRef("great.principal8", 1)
    for celsius in (None, 12.0, 26.0):
        assert_allclose(target_hz(HALL, reed, celsius), target_hz(HALL, flue, celsius), rtol=1e-14)


def test_unison_of_all_ranks_at_one_key_agrees() -> None:
    """At C4 each row of the Great is an exact harmonic of the 8 foot."""
    unison = target_hz(HALL, PipeRef("great.principal8", 25), 17.3)
    sounding = HALL.sounding(["great.mixture", "great.cornet", "great.twelfth"], Key.parse("C4"))
    found = sorted(target_hz(HALL, pipe, 17.3) / unison for pipe in sounding)
    assert_allclose(found, [1, 2, 3, 3, 3, 4, 4, 5, 6, 8], rtol=1e-12)


def test_mixture_falls_back_where_it_breaks() -> None:
    row = HALL.rank("great.mixture.1")
    assert [row.multiple_of(n) for n in (12, 13, 24, 25, 36, 37, 48, 49)] == [
        *[Fraction(6), Fraction(4), Fraction(4), Fraction(3)],
        *[Fraction(3), Fraction(2), Fraction(2), Fraction(1)],
    ]
    before, after = (target_hz(HALL, PipeRef(row.id, n), None) for n in (24, 25))
    assert after < before


@pytest.mark.parametrize(
    "row", [row for row in rows() if row.id.startswith("hear.celeste.")], ids=lambda row: row.id
)
def test_a_celeste_is_off_by_its_beats(row) -> None:
    """Cents of a beat of 3 Hz at 262 Hz and so on: arithmetic, as published."""
    organ = one_rank('feet = "8"', more=f"beats = {row.inputs['beat_Hz']}")
    partner = one_rank('feet = "8"')
    octave = round(math.log2(row.inputs["f_Hz"] / 65.40639))
    pipe = PipeRef("r", 1 + 12 * octave)
    if not math.isclose(target_hz(partner, pipe, None), row.inputs["f_Hz"], rel_tol=1e-5):
        pipe = PipeRef("r", 1 + round(12 * math.log2(row.inputs["f_Hz"] / 65.40639)))
    cents = cents_off(target_hz(organ, pipe, None), partner, pipe, None)
    assert_allclose(cents, row.value, atol=row.tolerance)


def test_celeste_beats_alike_at_every_key() -> None:
    celeste, gamba = HALL.rank("swell.celeste8"), HALL.rank("swell.gamba8")
    beats = [
        target_hz(HALL, PipeRef(celeste.id, n), None)
        - target_hz(HALL, PipeRef(gamba.id, n + 12), None)
        for n in range(1, celeste.pipes + 1)
    ]
    assert len(beats) == 49
    assert_allclose(beats, 2.5, rtol=1e-9)


def test_temperament_moves_the_keys_and_not_a4() -> None:
    organ = read_organ(examples.village())
    a4, e4 = PipeRef("great.open8", 34), PipeRef("great.open8", 29)
    assert_allclose(target_hz(organ, a4, None), 441.5, rtol=1e-12)
    # Young 1802, offsets from equal temperament with A = 0: E −1.96 cents
    equal = 441.5 * 2 ** (-5 / 12)
    assert_allclose(1200 * math.log2(target_hz(organ, e4, None) / equal), -1.955, atol=0.001)


@settings(max_examples=25, deadline=None)
@given(organs(), st.floats(-10.0, 40.0), st.floats(-30.0, 30.0))
def test_cents_off_undoes_a_detuning(organ: Organ, celsius: float, cents: float) -> None:
    pipes = list(organ.pipes())
    for pipe in (pipes[0], pipes[-1]):
        hz = target_hz(organ, pipe, celsius) * 2 ** (cents / 1200)
        assert_allclose(cents_off(hz, organ, pipe, celsius), cents, atol=1e-8)


def test_targets_rise_up_a_rank_that_does_not_break() -> None:
    for rank in HALL.ranks:
        if not rank.breaks_back:
            hz = [target_hz(HALL, PipeRef(rank.id, n), 18.0) for n in range(1, rank.pipes + 1)]
            assert np.all(np.diff(hz) > 0), rank.id


def test_what_is_not_there_has_no_target() -> None:
    with pytest.raises(UnknownNameError, match=r"no pipe 62.*1 to 61"):
        target_hz(HALL, PipeRef("great.principal8", 62), None)
    with pytest.raises(UnknownNameError, match=r"no rank 'great\.vox'"):
        target_hz(HALL, PipeRef("great.vox", 1), None)


@pytest.mark.parametrize("celsius", [64.0, -30.0, math.nan])
def test_air_no_organ_can_be_in(celsius: float) -> None:
    with pytest.raises(InputError, match=r"has air of.*°F"):
        target_hz(HALL, PipeRef("great.principal8", 1), celsius)


def test_frequency_must_be_positive() -> None:
    with pytest.raises(ValueError, match="positive"):
        cents_off(0.0, HALL, PipeRef("great.principal8", 1), None)
