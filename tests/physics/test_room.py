import numpy as np
import pytest

from walkboard.physics.air import Air
from walkboard.physics.room import celsius_of_fahrenheit, concerns


# Source: the scale's definition; 59 and 68 °F as printed beside 15 and 20 °C (Britannica 1911).
@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32, 0), (59, 15), (68, 20), (212, 100)])
def test_fahrenheit(fahrenheit, celsius):
    np.testing.assert_allclose(celsius_of_fahrenheit(fahrenheit), celsius, atol=1e-12)


def test_a_room_as_it_will_be_raises_no_concern():
    assert concerns(Air(18.0, 0.5), 18.5) == ()


def test_a_cold_dry_room_raises_both():
    found = concerns(Air(12.0, 0.2), 18.0)
    assert len(found) == 2
    assert "6.0 °C from the temperature" in found[0]
    assert "humidity is 20 %" in found[1]
