import numpy as np
import pytest

from walkboard.physics.air import Air, density_kg_m3
from walkboard.physics.wind import (
    PA_PER_INCH,
    PA_PER_MM,
    PRESSURES_IN_USE,
    jet_speed_m_s,
    pa_of_water_inches,
    pa_of_water_mm,
)


# Source: NIST Special Publication 811, factors of the conventional millimetre and inch of water
# (figures from memory).
def test_water_gauge_by_its_definition():
    np.testing.assert_allclose(PA_PER_MM, 9.80665, rtol=1e-9)
    np.testing.assert_allclose(PA_PER_INCH, 249.0889, rtol=1e-6)
    np.testing.assert_allclose(pa_of_water_inches(3.0), pa_of_water_mm(76.2), rtol=1e-12)


# The exact compressible outflow (isentropic, γ = 1.4; textbook of gas dynamics) against Bernoulli.
@pytest.mark.parametrize("water_mm", [50.0, 100.0, 250.0])
def test_compressibility_may_be_left_out(water_mm):
    air = Air(20.0)
    over = pa_of_water_mm(water_mm)
    inside = air.pressure_pa + over
    density_inside = density_kg_m3(Air(20.0, pressure_pa=inside))
    heat = 1.4 / 0.4 * inside / density_inside
    exact = np.sqrt(2.0 * heat * (1.0 - (air.pressure_pa / inside) ** (0.4 / 1.4)))
    np.testing.assert_allclose(jet_speed_m_s(over, density_inside), exact, rtol=0.01)


def test_no_wind_no_jet():
    assert jet_speed_m_s(0.0, 1.2) == 0.0
    with pytest.raises(ValueError, match="must not be negative"):
        jet_speed_m_s(-1.0, 1.2)
    with pytest.raises(ValueError, match="density positive"):
        jet_speed_m_s(700.0, 0.0)


def test_pressures_in_use_name_their_source():
    for wind in PRESSURES_IN_USE:
        assert wind.source
        assert 0.0 <= wind.low_in <= wind.high_in
