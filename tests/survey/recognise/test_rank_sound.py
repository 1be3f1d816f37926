"""What two recordings of ranks have in common, and what they do not."""

from __future__ import annotations

import numpy as np
import pytest

from walkboard.survey.recognise.rank_sound import (
    LIMITS,
    FloatArray,
    PipeSound,
    RankSound,
    difference,
    misfit,
    pitch_evidence,
    rank_sound,
)


def strays(cents: FloatArray) -> RankSound:
    """A rank of which only the deviations matter."""
    shape = len(cents), LIMITS.partials
    return RankSound(
        np.arange(len(cents), dtype=np.float64) - 20.0,
        cents,
        np.zeros(shape),
        np.zeros(shape, bool),
    )


@pytest.mark.parametrize(("pipes", "spread_cents"), [(18, 2.5), (25, 0.3), (25, 5.0), (50, 1.0)])
def test_ranks_that_have_nothing_to_do_with_each_other_hardly_ever_stray_alike(
    pipes: int, spread_cents: float
) -> None:
    """Of odds of 3,000 to 1 for what is not so, at most about one in 3,000 may be met by chance."""
    rng = np.random.default_rng(5)

    def drawn() -> FloatArray:
        slipped = rng.random(pipes) < 0.06
        return rng.normal(0.0, spread_cents, pipes) + slipped * rng.normal(0.0, 12.0, pipes)

    found = np.array([pitch_evidence(strays(drawn()), strays(drawn())) for _ in range(400)])
    assert (found > 8.0).mean() <= 0.01
    same = [drawn() for _ in range(60)]
    again = [pitch_evidence(strays(s), strays(s + rng.normal(0.0, 0.3, pipes))) for s in same]
    assert np.median(again) > (8.0 if spread_cents >= 1.0 else 0.0)


def pipes(levels_db: list[float], *, low_by_db: dict[int, float] | None = None) -> RankSound:
    """Two octaves of pipes with these partials; some pipes' fundamentals lie in a fade."""
    fades = low_by_db or {}
    made = [
        PipeSound(
            110.0 * 2.0 ** (n / 12.0),
            0.0,
            {i + 1: db - (fades.get(n, 0.0) if i == 0 else 0.0) for i, db in enumerate(levels_db)},
        )
        for n in range(24)
    ]
    sound = rank_sound(made)
    assert sound is not None
    return sound


def apart(now: RankSound, before: RankSound) -> float:
    found = difference(now, before)
    assert found is not None
    far, freedom = misfit(found)
    return far / freedom


FULL = [0.0, -6.0, -12.0, -18.0, -24.0, -30.0, -36.0, -39.0]


def test_gain_and_slope_of_a_microphone_are_no_difference_and_another_spectrum_is() -> None:
    louder = [db + 20.0 - 1.5 * np.log2(n + 1.0) for n, db in enumerate(FULL)]
    assert apart(pipes(louder), pipes(FULL)) < 0.3
    stopped = [db - (14.0 if n % 2 else 0.0) for n, db in enumerate(FULL)]
    assert apart(pipes(stopped), pipes(FULL)) > 1.0


def test_one_fundamental_in_a_fade_does_not_make_all_the_others_louder() -> None:
    assert apart(pipes(FULL, low_by_db={3: 30.0, 14: 30.0}), pipes(FULL)) < 0.3


def test_what_neither_recording_has_says_nothing() -> None:
    """Partials 40 dB down are lost in both: they must not tie the difference down to zero."""
    dull = [*FULL[:4], -60.0, -60.0, -60.0, -60.0]
    found = difference(pipes(dull), pipes(dull))
    assert found is not None
    assert set(found.partial.tolist()) == {1, 2, 3, 4}
