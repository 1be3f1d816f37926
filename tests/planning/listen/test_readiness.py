"""A stop's chance to be ready; how often it comes true: `python -m bench readiness`."""

from __future__ import annotations

import numpy as np
import pytest

from walkboard.planning.listen.readiness import calibrated


def test_no_chance_is_ever_certain() -> None:
    """Four times in a thousand a rank does what no history shows, either way."""
    assert calibrated(0.0) == pytest.approx(0.004, abs=0.0005)
    assert calibrated(1.0) == pytest.approx(0.996, abs=0.0005)


def test_calibrated_chances_are_nearer_the_middle_in_the_same_order() -> None:
    said = [calibrated(chance) for chance in np.linspace(0.0, 1.0, 21)]
    assert said == sorted(said)
    # odds of 9 to 1 for it become about 6 to 1, of 9 to 1 against it 7 to 3 against
    assert calibrated(0.9) == pytest.approx(0.853, abs=0.002)
    assert calibrated(0.1) == pytest.approx(0.299, abs=0.002)
