"""A warm pipe going back to its pitch."""

import math

import pytest

from walkboard.physics.settling import offset_after, offset_of_warmth, seconds_until


@pytest.mark.parametrize(
    # e^-1, e^-2 and 2^-1, from any table of the exponential (Abramowitz & Stegun, table 4.4)
    ("taus", "left"),
    [(0.0, 1.0), (1.0, 0.367879441), (2.0, 0.135335283), (math.log(2.0), 0.5)],
)
def test_the_offset_falls_as_the_exponential(taus: float, left: float) -> None:
    assert offset_after(taus * 40.0, 10.0, 40.0) == pytest.approx(10.0 * left, rel=1e-8)


def test_the_wait_ends_when_the_offset_is_as_small() -> None:
    wait_s = seconds_until(0.5, -20.0, 60.0)
    assert offset_after(wait_s, -20.0, 60.0) == pytest.approx(-0.5)
    assert seconds_until(0.5, 0.3, 60.0) == 0.0


def test_a_kelvin_is_about_three_cents() -> None:
    # 3 cents a °C: what the trade prints, docs/physics
    assert offset_of_warmth(18.0, 1.0) == pytest.approx(3.0, abs=0.1)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="negative"):
        offset_after(-1.0, 3.0, 50.0)
    with pytest.raises(ValueError, match="positive"):
        seconds_until(0.0, 3.0, 50.0)
