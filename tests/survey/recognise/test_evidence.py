"""What one hold shows: lines that the stated pipe explains, and lines that it does not."""

import numpy as np

from walkboard.survey.recognise.evidence import Evidence, evidence_of

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
