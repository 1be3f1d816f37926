"""An unstated pipe along a walk is a drawn stop; faint lines that come with the pipe are not."""

import pytest

from tests.survey.recognise.test_evidence import hold
from walkboard.survey.recognise.companions import find_companions

KEYS_HZ = [262.0 * 2.0 ** (key / 12.0) for key in range(8)]
# Measured in a sampled reed organ, whose loop adds half-numbered partials (FluidR3 GM, program 21,
# D#4): partials 1 to 8, and those between them from 1/2 on, below the loudest [dB].
REED_DB = (-8.0, 0.0, -10.0, -19.0, -12.0, -11.0, -37.0, -63.0)
HALVES_DB = (-57.0, -44.0, -45.0, -44.0, -42.0, -48.0, -47.0)


def heard_below(raised_db: float) -> list[str]:
    """What is heard beside a walk of the reed with its half-numbered partials raised so much."""

    def tones(hz: float) -> list[tuple[float, int, float]]:
        whole = [(hz * (n + 1), level) for n, level in enumerate(REED_DB)]
        halves = [(hz * (n + 0.5), level + raised_db) for n, level in enumerate(HALVES_DB)]
        return [(at, 1, 0.1 * 10.0 ** (level / 20.0)) for at, level in whole + halves]

    walk = [hold(*tones(hz)) for hz in KEYS_HZ]
    due = {"sub-octave": [hz / 2.0 for hz in KEYS_HZ]}
    return [one.name for one in find_companions(walk, due, 0.25)]


@pytest.mark.parametrize("raised_db", [6.0, 25.0])
def test_a_soft_stop_of_the_sub_octave_is_heard(raised_db: float) -> None:
    assert heard_below(raised_db) == ["sub-octave"]


def test_half_numbered_partials_40_db_below_are_the_pipes_own() -> None:
    assert heard_below(0.0) == []
