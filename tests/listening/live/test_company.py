"""What the partials of a steady look say of other pipes."""

from dataclasses import replace

import numpy as np
import pytest

from tests.listening.live_sounds import RATE, moved, still
from walkboard.listening.hold.place import numbers_below
from walkboard.listening.hold.spectrum import (
    Envelopes,
    envelopes,
    noise_floor,
    running_mean_s,
    spectrum_of_hold,
)
from walkboard.listening.live.company import company_of
from walkboard.listening.live.second_line import has_second_line
from walkboard.listening.live.steady import steady_look
from walkboard.listening.live.tracker import Expected, Tracker
from walkboard.listening.types import Comb

HZ = 261.6


def sound(ratio: float, cents: float, kind: str, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    hz = HZ * ratio * 2.0 ** (cents / 1200.0)
    return moved(hz, still, kind, rng, seconds=2.0, reverberation_s=1.2).samples[:, 0]


def heard(samples: np.ndarray, hz: float = HZ) -> Envelopes:
    """A second and a half from the middle of a hold."""
    part = samples[int(0.7 * RATE) : int(2.2 * RATE), np.newaxis].astype(np.float32)
    spectrum = spectrum_of_hold(part, RATE)
    numbers = numbers_below(hz, RATE, 14)
    edge = 2.0 * running_mean_s(hz)
    floor = noise_floor(spectrum, hz, numbers)
    return envelopes(spectrum, hz, numbers, floor, (edge, spectrum.seconds - edge))


@pytest.mark.parametrize("kind", ["flue", "stopped", "reed"])
def test_a_pipe_alone_is_alone(kind: str) -> None:
    seen = company_of(heard(sound(1.0, 0.0, kind, 3)))
    assert seen is not None
    assert seen.is_alone


@pytest.mark.parametrize("apart", [1.5, -4.0])
def test_an_octave_left_drawn_is_named_and_the_odd_partials_give_the_pitch(apart: float) -> None:
    both = sound(1.0, 0.0, "flue", 3) + 0.8 * sound(2.0, apart, "flue", 4)
    seen = company_of(heard(both))
    assert seen is not None
    assert seen.multiple == 2
    assert seen.others_cents is not None
    assert abs(seen.others_cents) > 0.5
    part = both[int(0.7 * RATE) : int(2.2 * RATE)].astype(np.float32)
    look = steady_look(part, RATE, HZ)
    assert look is not None
    assert 1200.0 * np.log2(look.hz / HZ) == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("apart", [1.5, -4.0])
def test_a_pipe_beside_a_unison_has_no_value(apart: float) -> None:
    both = sound(1.0, 0.0, "flue", 3) + 0.8 * sound(1.0, apart, "flue", 4)
    seen = company_of(heard(both))
    assert seen is not None
    assert seen.is_hidden
    tracker = Tracker(RATE, Expected(Comb("", HZ)), 0.1)
    readings = [
        reading
        for first in range(0, len(both), 2400)
        for reading in tracker.take(both[first : first + 2400], first / RATE)
    ]
    assert readings[-1].cents is None
    assert {"neighbour", "hidden"} <= set(readings[-1].flags)


def test_gain_that_changes_is_no_other_pipe() -> None:
    alone = sound(1.0, 0.0, "flue", 3)
    gain = 1.0 + 0.4 * np.sin(2.0 * np.pi * 1.3 * np.arange(len(alone)) / RATE)
    seen = company_of(heard(gain * alone))
    assert seen is not None
    assert seen.is_alone


@pytest.mark.parametrize(("ratio", "apart"), [(2.0, 8.0), (2.0, -6.0), (1.0, 7.0)])
def test_the_first_looks_beside_another_pipe_are_right_or_carry_a_caution(
    ratio: float, apart: float
) -> None:
    both = sound(1.0, 0.0, "stopped", 3) + 1.2 * sound(ratio, apart, "stopped", 4)
    tracker = Tracker(RATE, Expected(Comb("", HZ)))
    plain = []
    for first in range(0, int(1.5 * RATE), RATE // 50):
        block = both[first : first + RATE // 50].astype(np.float32)
        plain += [r for r in tracker.take(block, first / RATE) if r.is_plain]
    assert all(r.cents is not None and abs(r.cents) < 1.0 for r in plain)


def test_a_pipe_alone_is_read_without_a_caution_soon_after_its_key_goes_down() -> None:
    tracker = Tracker(RATE, Expected(Comb("", HZ)))
    samples = sound(1.0, 3.0, "stopped", 3).astype(np.float32)
    plain_s = [
        r.at_s
        for first in range(0, int(1.6 * RATE), RATE // 50)
        for r in tracker.take(samples[first : first + RATE // 50], first / RATE)
        if r.is_plain
    ]
    assert plain_s[0] < 1.4  # its key goes down at .3


@pytest.mark.parametrize("other_db", [-10.0, 10.0])
def test_a_much_louder_or_softer_unison_of_a_high_pipe_leaves_no_value(other_db: float) -> None:
    # All partials agree with the louder one, and the beat swells them no more than a room may.
    ratio, hz = 1318.5 / HZ, 1318.5
    softer = 10.0 ** (other_db / 20.0)
    both = sound(ratio, 0.0, "flue", 3) + softer * sound(ratio, -3.5, "flue", 4)
    near_hz = hz if other_db < 0.0 else hz * 2.0 ** (-3.5 / 1200.0)
    seen = company_of(heard(both, near_hz))
    assert seen is not None
    assert seen.is_hidden


def test_a_tremulant_is_no_second_pipe() -> None:
    times = np.arange(75) * 0.02
    numbers = np.arange(1, 5)
    swing = 0.3 * np.sin(2.0 * np.pi * 4.0 * times)
    values = np.exp(1j * np.multiply.outer(numbers, swing)) * (1.0 + 0.1 * swing)
    env = replace(heard(sound(1.0, 0.0, "flue", 3)), values=values[None], numbers=numbers)
    assert not has_second_line(replace(env, spacing_s=0.02))


def test_what_the_room_holds_of_the_pitch_before_a_move_is_no_second_pipe() -> None:
    times = np.arange(50) * 0.02
    numbers = np.arange(1, 5)
    echo = 0.5 * np.exp(-4.0 * times)
    values = 1.0 + echo * np.exp(2j * np.pi * 3.0 * np.multiply.outer(numbers, times))
    env = replace(heard(sound(1.0, 0.0, "flue", 3)), values=values[None], numbers=numbers)
    assert not has_second_line(replace(env, spacing_s=0.02))
    lasting = 1.0 + 0.2 * np.exp(2j * np.pi * 3.0 * np.multiply.outer(numbers, times))
    assert has_second_line(replace(env, values=lasting[None], spacing_s=0.02))
