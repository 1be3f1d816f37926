"""The key holder and the slips."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from walkboard.demo.synthesiser import Faults, KeyHolder, Press, Slip, hold_keys
from walkboard.scales.keys import Key

KEYS = tuple(Key(36 + i) for i in range(61))
C4, D4 = Key.parse("C4"), Key.parse("D4")


def held(faults: Faults, holder: KeyHolder | None = None, seed: int = 1) -> tuple[Press, ...]:
    return hold_keys(KEYS, holder or KeyHolder(), faults, np.random.default_rng(seed))


def keys_of(presses: Sequence[Press]) -> list[Key]:
    return [press.key for press in presses]


def test_without_slips_every_key_is_held_once_in_order():
    presses = held(Faults())
    assert keys_of(presses) == list(KEYS)
    assert all(press.slips == () and press.key == press.wanted for press in presses)


def test_a_wrong_key_that_is_corrected_is_short_and_beside_the_right_one():
    presses = held(Faults(wrong_corrected=(C4,)))
    assert len(presses) == 62
    at = next(i for i, p in enumerate(presses) if p.slips == (Slip.WRONG_CORRECTED,))
    wrong, right = presses[at], presses[at + 1]
    assert right.key == wrong.wanted == C4
    assert 1 <= abs(wrong.key.semitone - C4.semitone) <= 2
    assert wrong.up_s - wrong.down_s < 0.8 * (right.up_s - right.down_s)


def test_a_wrong_key_that_is_not_corrected_takes_the_place_of_the_right_one():
    presses = held(Faults(wrong=(C4,)))
    assert len(presses) == 61
    assert C4 not in keys_of(presses)
    (wrong,) = [p for p in presses if p.slips]
    assert (wrong.slips, wrong.wanted) == ((Slip.WRONG,), C4)


def test_a_repeated_key_comes_up_before_it_goes_down_again():
    for seed in range(30):
        presses = held(Faults(repeated=(C4,)), holder=KeyHolder(gap_s=0.0), seed=seed)
        first, second = [p for p in presses if p.key == C4]
        assert second.slips == (Slip.REPEATED,)
        assert second.down_s >= first.up_s + 0.1


def test_keys_out_of_order_change_places_and_the_late_one_is_marked():
    presses = held(Faults(out_of_order=(C4,)))
    at = keys_of(presses).index(C4)
    assert keys_of(presses)[at - 1] == C4.up(1)
    assert presses[at].slips == (Slip.OUT_OF_ORDER,)
    assert sorted(keys_of(presses)) == list(KEYS)


def test_a_long_hold_is_twice_as_long():
    even = KeyHolder(spread=0.0)
    presses = held(Faults(long=(D4,)), holder=even)
    length = {p.key: p.up_s - p.down_s for p in presses}
    assert_allclose(length[D4], 2.0 * length[C4])


def test_hold_times_scatter_as_asked():
    holder = KeyHolder(hold_s=3.0, spread=0.2)
    presses = hold_keys(KEYS * 40, holder, Faults(), np.random.default_rng(4))
    logs = np.log([p.up_s - p.down_s for p in presses])
    assert_allclose([logs.mean(), logs.std()], [np.log(3.0), 0.2], rtol=0.05)


def test_a_legato_holder_overlaps_keys():
    presses = held(Faults(), holder=KeyHolder(gap_s=-0.2, gap_spread_s=0.05, pause_every=0))
    overlaps = [b.down_s < a.up_s for a, b in pairwise(presses)]
    assert all(overlaps)


@given(st.integers(0, 10_000), st.integers(1, 2), st.floats(-0.5, 1.0))
def test_any_walk_goes_forward_in_time_and_holds_only_keys_of_the_walk(seed, each, gap_s):
    rng = np.random.default_rng(seed)
    faults = Faults.drawn(KEYS, rng, each=each)
    presses = hold_keys(KEYS, KeyHolder(gap_s=gap_s), faults, rng)
    downs = [p.down_s for p in presses]
    assert all(b - a >= 0.2 - 1e-9 for a, b in pairwise(downs))
    assert all(p.up_s - p.down_s >= 0.3 - 1e-9 for p in presses)
    assert set(keys_of(presses)) <= set(KEYS)
    slips = [slip for p in presses for slip in p.slips]
    for kind in (Slip.WRONG, Slip.WRONG_CORRECTED, Slip.REPEATED, Slip.OUT_OF_ORDER, Slip.LONG):
        assert slips.count(kind) == each


def test_drawn_faults_fall_on_different_keys():
    faults = Faults.drawn(KEYS, np.random.default_rng(0), each=2, overtone=3)
    keys = [
        *faults.wrong_corrected,
        *faults.wrong,
        *faults.repeated,
        *faults.out_of_order,
        *faults.long,
        *faults.dead,
        *(key for key, _ in faults.off_speech),
    ]
    assert len(set(keys)) == len(keys) == 14
    assert {overtone for _, overtone in faults.off_speech} == {3}
    with pytest.raises(ValueError, match="too few"):
        Faults.drawn(KEYS[:12], np.random.default_rng(0))


def test_impossible_holders_are_refused():
    with pytest.raises(ValueError, match="positive time"):
        KeyHolder(hold_s=0.0)
    with pytest.raises(ValueError, match="cannot be negative"):
        KeyHolder(lead_s=-1.0)
