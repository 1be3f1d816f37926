"""Divisions, their air and their reeds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import readings, small_organ
from walkboard.condition.assess import assess, surest
from walkboard.condition.state import PipeCents
from walkboard.errors import UnknownNameError
from walkboard.organ.model import PipeRef

GREAT_FLUES = ["great.principal", "great.octave", "great.twelfth", "great.mixture"]
SWELL_FLUES = ["swell.flute", "swell.viola"]


def test_the_diapason_normal_was_carried_to_68_degrees_and_439():
    """435 Hz at 15 °C; flues that read 439 are in 20 °C air.

    Ellis & Mendel, Studies in the History of Musical Pitch: New Philharmonic 1896, 439 at 68 °F.
    439 is printed to the hertz: half of one is 2 cents, 0.7 °C.
    """
    organ = small_organ(a4=435.0, celsius=15.0)
    sharp = 1200.0 * np.log2(439.0 / 435.0)
    state = assess(organ, readings(organ, GREAT_FLUES, lambda _: sharp, 15.0), {}).divisions[
        "great"
    ]
    assert state.implied_celsius is not None
    assert_allclose(state.implied_celsius, 20.0, rtol=0, atol=0.7)


@pytest.mark.parametrize(("celsius", "cents"), [(10.0, 3.055), (15.0, 3.001), (20.0, 2.947)])
def test_flues_move_by_the_cents_a_degree_of_the_physics(celsius, cents):
    """Cramer 1993, dry air, JASA 93:2510; the program's held humidity differs by 0.003."""
    organ = small_organ(celsius=celsius)
    heard = readings(organ, GREAT_FLUES, lambda _: cents, celsius)
    state = assess(organ, heard, {}).divisions["great"]
    assert state.shift_cents is not None
    assert state.implied_celsius is not None
    assert_allclose(state.shift_cents, cents, rtol=0, atol=0.25)
    assert_allclose(state.implied_celsius - celsius, state.shift_cents / cents, rtol=0.02)


def test_the_recorders_clock_is_in_the_shift_however_many_pipes_were_heard():
    """50 parts in a million are .087 cent (1200 log2(1.00005)), in every pipe alike."""
    organ = small_organ()
    heard = readings(organ, GREAT_FLUES, lambda _: 3.0, 18.0)
    by_clock = [replace(pipe, clock_sigma_cents=2.0) for pipe in heard]
    without, state = (assess(organ, pipes, {}).divisions["great"] for pipes in (heard, by_clock))
    assert without.shift_sigma_cents is not None
    assert state.implied_sigma_celsius is not None
    assert without.implied_sigma_celsius is not None
    assert without.shift_sigma_cents < 0.5
    assert state.shift_sigma_cents == pytest.approx(np.hypot(without.shift_sigma_cents, 2.0))
    assert state.implied_sigma_celsius > without.implied_sigma_celsius
    assert state.shift_cents == without.shift_cents


def test_reeds_are_held_apart():
    organ = small_organ()
    heard = readings(organ, GREAT_FLUES, lambda _: 3.0, 18.0)
    heard += readings(organ, ["great.trumpet"], lambda _: -7.0, 18.0)
    state = assess(organ, heard, {}).divisions["great"]
    assert state.shift_cents == pytest.approx(3.0, abs=0.6)
    assert state.reed_shift_cents == pytest.approx(-7.0, abs=0.6)
    assert (state.flues, state.reeds) == (4 * 61, 61)


def test_a_celeste_says_nothing_about_the_air():
    organ = small_organ()
    plain = readings(organ, SWELL_FLUES, lambda _: 2.0, 18.0)
    celeste = readings(organ, ["swell.celeste"], lambda _: 15.0, 18.0)
    without = assess(organ, plain, {}).divisions["swell"]
    assert assess(organ, plain + celeste, {}).divisions["swell"] == without
    alone = assess(organ, celeste, {}).divisions["swell"]
    assert alone.shift_cents is None
    assert alone.implied_celsius is None


def test_ears_and_thermometer_are_kept_apart_where_they_disagree():
    """Flues 12 cents sharp would be 4 °C; the thermometer says that the air has not moved."""
    organ = small_organ()
    heard = readings(organ, GREAT_FLUES, lambda _: 12.0, 18.0)
    state = assess(organ, heard, {"great": 18.0}).divisions["great"]
    assert state.agrees is False
    assert state.thermometer_celsius == 18.0
    assert state.implied_celsius is not None
    assert_allclose(state.implied_celsius, 22.0, rtol=0, atol=0.3)
    warm = assess(organ, heard, {"great": 22.1}).divisions["great"]
    assert warm.agrees is True
    assert warm.shift_cents == state.shift_cents
    assert assess(organ, heard, {}).divisions["great"].agrees is None


def test_each_division_has_its_own_air():
    organ = small_organ()
    heard = readings(organ, GREAT_FLUES, lambda _: -3.0, 18.0)
    heard += readings(organ, SWELL_FLUES, lambda _: 6.0, 18.0)
    states = assess(organ, heard, {}).divisions
    assert list(states) == ["great", "swell"]
    assert states["great"].implied_celsius == pytest.approx(17.0, abs=0.5)
    assert states["swell"].implied_celsius == pytest.approx(20.0, abs=0.5)


def test_readings_against_different_air_are_brought_together():
    """The same pipes, half of them stated at 18 °C and half at 20."""
    organ = small_organ()
    cold = readings(organ, GREAT_FLUES[:2], lambda _: 5.0, 18.0)
    # 2 °C are 5.9 cents: what is 5 sharp of 18 °C is 0.9 flat of 20 °C (Cramer 1993, 2.95 a degree)
    warm = readings(organ, GREAT_FLUES[2:3], lambda _: 5.0 - 2 * 2.957, 20.0)
    state = assess(organ, cold + warm, {}).divisions["great"]
    assert state.stated_celsius == 18.0
    assert state.shift_cents is not None
    assert_allclose(state.shift_cents, 5.0, rtol=0, atol=0.3)


def test_two_pipes_are_not_enough():
    organ = small_organ()
    two = [PipeCents(PipeRef("great.octave", n), 1.0, 0.1, None, 18.0) for n in (1, 2)]
    state = assess(organ, two, {"great": 18.0}).divisions["great"]
    assert (state.shift_cents, state.shift_sigma_cents, state.agrees) == (None, None, None)
    assert state.flues == 2


def test_a_shift_that_no_air_makes_implies_none():
    """Three semitones off: the organ is at a different pitch than the description says."""
    organ = small_organ()
    far = readings(organ, ["great.octave"], lambda _: 300.0, 18.0)
    state = assess(organ, far, {}).divisions["great"]
    assert state.shift_cents is not None
    assert state.implied_celsius is None


def test_of_two_readings_of_a_pipe_the_surer_counts():
    pipe = PipeRef("great.octave", 5)
    rough, fine = (PipeCents(pipe, c, s, None, 18.0) for c, s in ((9.0, 1.0), (1.0, 0.05)))
    assert surest([rough, fine]) == surest([fine, rough]) == (fine,)


def test_a_thermometer_in_a_division_that_is_not_there_is_refused():
    organ = small_organ()
    with pytest.raises(UnknownNameError, match="no division 'choir'"):
        assess(organ, readings(organ, ["great.octave"], lambda _: 0.0, 18.0), {"choir": 18.0})


def test_readings_of_two_walks_in_different_air_agree_pipe_by_pipe():
    """Every rank walked twice, its odd pipes at 18 °C and its even ones at 20 °C.

    Nothing has moved but the air: 2 °C are 5.9 cents (Cramer 1993). Taken as they were written the
    pipes would be in two places, and the shift unsure.
    """
    organ = small_organ()
    cold = readings(organ, GREAT_FLUES, lambda _: 0.0, 18.0)
    warm = readings(organ, GREAT_FLUES, lambda _: -2 * 2.957, 20.0)
    mixed = [*cold[::2], *warm[1::2], cold[1]]
    state = assess(organ, mixed, {}).divisions["great"]
    plain = assess(organ, cold, {}).divisions["great"]
    assert (state.shift_cents, state.shift_sigma_cents) == pytest.approx(
        (plain.shift_cents, plain.shift_sigma_cents), abs=0.1
    )


def test_ears_that_are_unsure_agree_with_a_thermometer_further_away():
    """0.7 °C apart: more than twice a good thermometer's 0.3, less than twice both together.

    The flues' own: 0.8 cent of unmeasured humidity and a rank's movement are some 0.3 °C.
    """
    organ = small_organ()
    heard = readings(organ, GREAT_FLUES, lambda _: 0.0, 18.0)
    state = assess(organ, heard, {"great": 18.0}).divisions["great"]
    assert state.implied_celsius is not None
    assert state.implied_sigma_celsius is not None
    assert 0.27 < state.implied_sigma_celsius < 0.36
    for apart, agrees in ((0.7, True), (1.0, False)):
        thermometer = {"great": state.implied_celsius + apart}
        assert assess(organ, heard, thermometer).divisions["great"].agrees is agrees
