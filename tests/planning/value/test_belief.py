"""Where a pipe is believed to be: arithmetic of mixtures, and invalid beliefs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import norm

from walkboard.organ.model import PipeRef
from walkboard.planning.value.belief import Belief, Parts, PipeForecast, belief_of

SLIPPED = Belief((0.9, 0.1), (1.0, -15.0), (0.5, 6.0))  # one stopper in ten has dropped
PIPE = PipeRef("great.flute", 3)


def test_mean_and_spread_are_those_of_many_such_pipes() -> None:
    rng = np.random.default_rng(2)
    part = rng.random(400_000) < 0.1
    cents = np.where(part, rng.normal(-15.0, 6.0, part.size), rng.normal(1.0, 0.5, part.size))
    assert_allclose(SLIPPED.mean_cents, cents.mean(), atol=0.05)
    assert_allclose(SLIPPED.sigma_cents, cents.std(), rtol=0.01)


def test_a_pipe_brought_sharper_is_sharper_and_no_surer() -> None:
    up = SLIPPED.moved(4.0)
    assert_allclose(up.mean_cents - SLIPPED.mean_cents, 4.0)
    assert_allclose(up.sigma_cents, SLIPPED.sigma_cents)


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        (((), (), ()), "for each of its parts"),
        (((1.0,), (0.0, 1.0), (1.0,)), "for each of its parts"),
        (((1.0,), (math.nan,), (1.0,)), "finite"),
        (((1.0,), (0.0,), (math.inf,)), "finite"),
        (((0.9,), (0.0,), (1.0,)), "sum to 1"),
        (((1.2, -0.2), (0.0, 0.0), (1.0, 1.0)), "sum to 1"),
        (((1.0,), (0.0,), (-0.1,)), "not negative"),
    ],
)
def test_what_cannot_be_believed_is_refused(parts, message) -> None:
    with pytest.raises(ValueError, match=message):
        Belief(*parts)


def test_a_pipe_known_exactly_is_a_belief() -> None:
    assert Belief.normal(3.0, 0.0).sigma_cents == 0.0


@pytest.mark.parametrize(("air", "level"), [(math.nan, None), (18.0, math.inf)])
def test_a_forecast_without_figures_is_refused(air: float, level: float | None) -> None:
    with pytest.raises(ValueError, match=r"great\.flute:3"):
        PipeForecast(PIPE, SLIPPED, air, level)
    assert belief_of(PipeForecast(PIPE, SLIPPED, 18.0)) is SLIPPED


def test_beliefs_side_by_side_say_what_each_says_alone() -> None:
    beliefs = [Belief.normal(2.0, 1.0), SLIPPED, Belief.normal(-3.0, 0.0), SLIPPED.moved(9.0)]
    parts = Parts.of(beliefs)
    assert not parts.is_single
    assert_allclose(parts.mean(parts.cents), [b.mean_cents for b in beliefs])
    assert_allclose(parts.each(np.arange(4.0)), [0.0, 1.0, 1.0, 2.0, 3.0, 3.0])
    some = parts.only(np.array([3, 0]))
    assert_allclose(some.mean(some.cents), [beliefs[3].mean_cents, 2.0])
    pitches = np.array([-16.0, 0.0, 2.0])
    inside = [
        [
            sum(
                w * (norm.cdf(at + 2.5, m, max(s, 1e-9)) - norm.cdf(at - 2.5, m, max(s, 1e-9)))
                for w, m, s in zip(b.shares, b.cents, b.sigmas_cents, strict=True)
            )
            for b in beliefs
        ]
        for at in pitches
    ]
    assert_allclose(parts.chance_within(parts.cents - pitches[:, None], 2.5), inside, atol=1e-9)


def test_one_normal_each_is_single() -> None:
    parts = Parts.of([Belief.normal(2.0, 1.0), Belief.normal(-3.0, 0.5)])
    assert parts.is_single
    assert_allclose(parts.mean(parts.cents), [2.0, -3.0])
