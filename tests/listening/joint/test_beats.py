"""The beat of two unisons from their partials' envelopes: partial l beats l times as fast."""

from __future__ import annotations

import pytest

from tests.listening.joint.lines import band, bands_of_unisons, joint_of
from walkboard.listening.joint.beats import beat_of_unisons
from walkboard.listening.joint.stacks import BandSet

DUE_HZ = 262.0


def beat(bands: BandSet) -> float | None:
    return beat_of_unisons(joint_of(bands), (0, 1))


@pytest.mark.parametrize("apart_hz", [0.9, 2.5])
def test_two_that_beat_at_every_partial(apart_hz: float) -> None:
    """f₂ − f₁ a second: Helmholtz, On the Sensations of Tone, chapter 8."""
    bands = bands_of_unisons(DUE_HZ, (DUE_HZ - 0.4, DUE_HZ - 0.4 + apart_hz), (1, 2, 3, 4))
    assert beat(bands) == pytest.approx(apart_hz, abs=0.03)


def test_a_stopped_pipe_beats_with_an_open_one_at_odd_partials_only() -> None:
    bands = bands_of_unisons(DUE_HZ, (DUE_HZ, DUE_HZ + 1.2), (3, 5))
    assert beat(bands) == pytest.approx(1.2, abs=0.03)


def test_one_partial_that_beats_is_not_believed() -> None:
    """Its own wind or a cipher may do that."""
    assert beat(bands_of_unisons(DUE_HZ, (DUE_HZ, DUE_HZ + 1.2), (2,))) is None


def test_partials_that_beat_at_unrelated_rates_are_not_believed() -> None:
    bands = BandSet.of(
        (
            band({0: n, 1: n}, n * DUE_HZ, [(n * DUE_HZ, 1.0), (n * DUE_HZ + rate_hz, 1.0)])
            for n, rate_hz in ((1, 1.0), (2, 2.5), (3, 4.45))
        ),
        [DUE_HZ, DUE_HZ],
    )
    assert beat(bands) is None


def test_a_pulling_pair_whose_second_partial_swings_at_the_single_beat() -> None:
    """Pipes that pull move to and fro in each beat: higher partials show it at its own rate."""
    bands = BandSet.of(
        (
            band({0: n, 1: n}, n * DUE_HZ, [(n * DUE_HZ, 1.0), (n * DUE_HZ + 1.1, 0.8)])
            for n in (1, 2)
        ),
        [DUE_HZ, DUE_HZ],
    )
    assert beat(bands) == pytest.approx(1.1, abs=0.03)


def test_groups_with_a_third_pipe_and_high_partials_are_left_out() -> None:
    third = [
        band({0: 2, 1: 2, 2: 1}, 2 * DUE_HZ, [(2 * DUE_HZ, 1.0), (2 * DUE_HZ + 2.4, 1.0)]),
        band({0: 9, 1: 9}, 9 * DUE_HZ, [(9 * DUE_HZ, 1.0), (9 * DUE_HZ + 10.8, 1.0)]),
    ]
    first = band({0: 1, 1: 1}, DUE_HZ, [(DUE_HZ, 1.0), (DUE_HZ + 1.2, 1.0)])
    assert beat(BandSet.of([first, *third], [DUE_HZ, DUE_HZ, 2 * DUE_HZ])) is None
