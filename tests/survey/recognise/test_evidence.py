"""What one hold shows: lines that the stated pipe explains, and lines that it does not."""

import numpy as np

from walkboard.listening.evidence.lines import HoldLines
from walkboard.survey.recognise.evidence import Evidence, _side_bands, evidence_of

RATE = 24_000


def hold(*pipes: tuple[float, int, float]) -> Evidence:
    """A hold of strictly harmonic pipes: fundamental [Hz], partials, level of the fundamental."""
    rng = np.random.default_rng(5)
    t = np.arange(int(3.5 * RATE)) / RATE
    sound = 1e-4 * rng.standard_normal(len(t))
    for hz, partials, level in pipes:
        for number in range(1, partials + 1):
            phase = rng.uniform(0.0, 2.0 * np.pi)
            sound += level / number**0.5 * np.cos(2.0 * np.pi * number * hz * t + phase)
    return evidence_of(
        sound[:, np.newaxis],
        RATE,
        key=0,
        times_s=(1.0, 4.5),
        expected_hz=(pipes[0][0],),
        measured_hz=(pipes[0][0],),
    )


def test_a_rich_16_foot_pipe_explains_its_own_high_partials() -> None:
    # Seen red: only 60 partials counted, so those above 2 kHz were taken for a tierce.
    assert len(hold((32.7, 200, 0.02)).left) == 0


def test_a_second_pipe_in_its_treble_is_not_explained() -> None:
    tierce_hz = 327.0 * 2.0 ** (9.0 / 1200.0)
    alone = hold((32.7, 200, 0.02), (tierce_hz, 8, 0.02))
    left_hz = alone.lines.hz[alone.left]
    for number in (2, 3, 4):
        assert np.min(np.abs(left_hz - number * tierce_hz)) < 1.0


def test_two_lines_at_one_distance_either_side_of_a_partial_are_the_winds() -> None:
    """Unsteady wind moves the level: both side bands, nearly as loud. One by itself is a pipe."""

    def side(*lines: tuple[float, float]) -> list[float]:
        hz, level_db = np.array(sorted(lines)).T
        found = HoldLines(hz, level_db, 3.0)
        return [float(one) for one in hz[_side_bands(found, level_db == 0.0)]]

    assert side((500.0, 0.0), (494.0, -10.0), (506.0, -12.0)) == [494.0, 506.0]
    assert side((500.0, 0.0), (494.0, -10.0)) == []
    assert side((500.0, 0.0), (494.0, -10.0), (508.0, -12.0)) == []  # not at one distance
    assert side((500.0, 0.0), (494.0, -10.0), (506.0, -20.0)) == []  # one far louder
    assert side((500.0, 0.0), (486.0, -10.0), (514.0, -12.0)) == []  # too far for the wind
    assert side((500.0, 0.0), (494.0, -1.0), (506.0, -1.5)) == []  # as loud as what they flank
