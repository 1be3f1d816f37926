"""Air against CoolProp, a general-purpose reference library that shares no formula with ours.

Its humid air is the real-gas model of ASHRAE RP-1485, its dry air Lemmon et al. 2000. The printed
values of IEC 61094-2:2009, Table F.1, are rows of ``tests/published/check_values.json``.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from walkboard.physics.air import (
    Air,
    celsius_for_pitch_ratio,
    cents_per_celsius,
    cents_per_celsius_at_held_humidity,
    cents_per_celsius_ideal,
    density_kg_m3,
    pitch_ratio,
    saturation_pressure_pa,
    speed_of_sound_iso9613_m_s,
    speed_of_sound_m_s,
)
from walkboard.quantities import cents_of_ratio

coolprop = pytest.importorskip(
    "CoolProp.CoolProp", reason="CoolProp is not installed: air has no independent check"
)

ROOM = st.floats(0.0, 30.0)


def humid(what: str, air: Air) -> float:
    return float(coolprop.HAPropsSI(what, "T", air.kelvin, "P", air.pressure_pa, "R", air.humidity))


# Tolerance: 0.1 m/s (300 ppm), the uncertainty that Cramer 1993 states; range as stated there.
@pytest.mark.parametrize("celsius", [0.1, 5.0, 10.0, 15.0, 18.0, 20.0, 25.0, 30.0])
@pytest.mark.parametrize("humidity", [0.0, 0.3, 0.5, 0.8, 1.0])
@pytest.mark.parametrize("pressure_pa", [80_000.0, 95_000.0, 102_000.0])
def test_speed_of_sound_agrees_with_real_gas_air(celsius, humidity, pressure_pa):
    air = Air(celsius, humidity, pressure_pa)
    np.testing.assert_allclose(speed_of_sound_m_s(air), humid("speed_of_sound", air), atol=0.1)


# Tolerance: what the docstring claims outside the paper's range.
@pytest.mark.parametrize("celsius", [-20.0, -10.0, -5.0, 35.0, 40.0])
def test_speed_of_sound_goes_on_smoothly_outside_its_range(celsius):
    air = Air(celsius)
    np.testing.assert_allclose(speed_of_sound_m_s(air), humid("speed_of_sound", air), atol=0.04)


@pytest.mark.parametrize("celsius", [0.1, 10.0, 20.0, 30.0])
@pytest.mark.parametrize("humidity", [0.0, 0.5, 1.0])
def test_density_agrees_with_real_gas_air(celsius, humidity):
    air = Air(celsius, humidity)
    # Vha is the volume of a kilogram of moist air
    np.testing.assert_allclose(density_kg_m3(air), 1.0 / humid("Vha", air), rtol=1e-4)


@pytest.mark.parametrize("celsius", [1.0, 10.0, 20.0, 30.0, 50.0])
def test_saturation_agrees_with_the_steam_tables(celsius):
    steam = coolprop.PropsSI("P", "T", celsius + 273.15, "Q", 0, "Water")
    np.testing.assert_allclose(saturation_pressure_pa(celsius), steam, rtol=1e-4)


# The heart of every target: real-gas air warmed with its mass of water held, as in a heated church.
@pytest.mark.parametrize("from_celsius", [12.0, 15.0, 18.0, 20.0, 22.0])
@pytest.mark.parametrize("to_celsius", [15.0, 18.0, 21.0, 24.0, 28.0])
def test_pitch_of_warmed_air_agrees_with_real_gas_air(from_celsius, to_celsius):
    start = Air(from_celsius)
    grams = humid("W", start)
    end_speed = coolprop.HAPropsSI(
        "speed_of_sound", "T", to_celsius + 273.15, "P", start.pressure_pa, "W", grams
    )
    reference = cents_of_ratio(end_speed / humid("speed_of_sound", start))
    np.testing.assert_allclose(
        cents_of_ratio(pitch_ratio(from_celsius, to_celsius)), reference, atol=0.06
    )


# Source: three cents a degree, the rule of the trade (printed by several builders).
def test_three_cents_a_degree():
    np.testing.assert_allclose(cents_of_ratio(pitch_ratio(14.5, 15.5)), 3.0, atol=0.02)


# Source: W. Ellis and Mendel 1968: the Philharmonic carried 435 Hz at 59 °F to 439 Hz at 68 °F.
def test_the_philharmonic_carried_435_to_439():
    np.testing.assert_allclose(435.0 * pitch_ratio(15.0, 20.0), 439.0, atol=0.3)


@given(ROOM)
def test_no_change_of_air_no_change_of_pitch(celsius):
    np.testing.assert_allclose(pitch_ratio(celsius, celsius), 1.0, rtol=1e-14)


@given(st.floats(0.0, 30.0), st.floats(-5.0, 35.0))
def test_air_is_found_from_the_shift_of_the_flues(from_celsius, to_celsius):
    ratio = pitch_ratio(from_celsius, to_celsius)
    np.testing.assert_allclose(celsius_for_pitch_ratio(from_celsius, ratio), to_celsius, atol=1e-6)


def test_a_shift_that_no_air_makes_is_refused():
    with pytest.raises(ValueError, match="no air from -20 to 50 °C"):
        celsius_for_pitch_ratio(18.0, 1.2)


@given(st.floats(-20.0, 49.0), st.floats(0.0, 1.0))
def test_warmer_air_is_always_faster(celsius, humidity):
    air = Air(celsius, humidity)
    assert speed_of_sound_m_s(air.at(celsius + 1.0)) > speed_of_sound_m_s(air)


def test_the_slope_is_that_of_the_ratio():
    for celsius in (5.0, 15.0, 20.0, 25.0):
        rise = cents_of_ratio(pitch_ratio(celsius, celsius + 0.01)) / 0.01
        np.testing.assert_allclose(cents_per_celsius(Air(celsius)), rise, atol=2e-3)


def test_saturated_air_still_has_a_slope():
    # the water of air at 100 % cannot be held when it cools; warming it is what counts
    assert 2.8 < cents_per_celsius(Air(20.0, 1.0)) < 3.0
    assert 2.5 < cents_per_celsius(Air(50.0, 0.0)) < cents_per_celsius(Air(-20.0, 0.0)) < 3.6


def test_cooled_air_keeps_its_water_until_it_is_saturated():
    air = Air(20.0, 0.5)
    np.testing.assert_allclose(air.at(15.0).water, air.water, rtol=1e-12)
    assert air.at(0.0).humidity == 1.0
    assert air.at(0.0).water < air.water


def test_simple_forms_are_as_exact_as_their_docstrings_say():
    grid = np.linspace(0.0, 30.0, 61)
    gap = [speed_of_sound_m_s(Air(t, 0.0)) - speed_of_sound_iso9613_m_s(t) for t in grid]
    assert min(gap) > 0.0
    assert max(gap) < 0.17
    for celsius in (5.0, 10.0, 15.0, 20.0, 25.0):
        np.testing.assert_allclose(
            cents_per_celsius_ideal(celsius), cents_per_celsius(Air(celsius)), atol=0.01
        )
        assert cents_per_celsius_at_held_humidity(Air(celsius)) > cents_per_celsius(Air(celsius))


@pytest.mark.parametrize(
    ("wrong", "guess"),
    [
        ({"celsius": 68.0}, "did you give °F"),
        ({"celsius": 293.15}, "kelvin"),
        ({"celsius": float("nan")}, "celsius must lie"),
        ({"celsius": 20.0, "humidity": 50.0}, "did you give per cent"),
        ({"celsius": 20.0, "pressure_pa": 1013.25}, "did you give hPa"),
        ({"celsius": 20.0, "co2": 400.0}, "did you give ppm"),
    ],
)
def test_a_slip_of_units_is_guessed(wrong, guess):
    with pytest.raises(ValueError, match=guess):
        Air(**wrong)
