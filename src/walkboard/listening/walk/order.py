"""Which naming of the events makes the most plausible order.

A first-order chain over the keys (Viterbi for the naming, forward-backward for its
probability; Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77, 1989, sections III A-B)
in which the next key by the walk's own direction and stride costs nothing, and a repeat, a skipped
key, a step back cost a little. An event may be left unnamed at a cost that grows with its length
and level; the chain then continues from the key before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.walk.naming import Keyboard, Reading

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_SAME_PIPE_CENTS = 15.0


@dataclass(frozen=True, slots=True)
class Stride:
    """The walk's stride: signed keys from one hold to the next; 0 if there is no clear one."""

    keys: int = 0


@dataclass(frozen=True, slots=True)
class Naming:
    """The most probable naming of the events.

    Attributes
    ----------
    state : list of int
        For each event its state, or -1 if it is left unnamed.
    sureness : list of float
        Probability of the key (if unnamed, of being no key).
    """

    state: list[int]
    sureness: list[float]


def order_costs(board: Keyboard, stride: Stride) -> FloatArray:
    """Cost of going from key to key, shape (keys, keys) [nats]."""
    index = np.arange(board.count)
    step = index[np.newaxis, :] - index[:, np.newaxis]
    if stride.keys == 0:
        return np.where(step == 0, 2.5, 1.0 + 0.4 * np.minimum(np.abs(step), 12))
    ahead = step * np.sign(stride.keys)
    usual = abs(stride.keys)
    far = 0.25 * np.minimum(np.abs(ahead - usual), 12)
    cost = np.where(ahead > 0, 3.0 + far, 3.5 + far)
    cost = np.where(ahead == 2 * usual, 2.5, cost)
    cost = np.where(ahead == 0, 2.5, cost)
    return np.where(ahead == usual, 0.0, cost)


def name_events(
    readings: Sequence[Reading], board: Keyboard, stride: Stride
) -> tuple[list[int], list[FloatArray]]:
    """The most probable state of each event; -1 if it is better left unnamed.

    Returns
    -------
    states : list of int
    repeats : list of ndarray, shape (states,)
        For each event and state, the extra cost of coming from the same state [nats]: the pipe
        should be where it was when last heard.
    """
    between = _between(board, stride)
    # The chain's state is the last named key; it stays open after a leading unnamed event.
    states = np.arange(board.states)
    score = np.zeros(board.states)
    stood = np.full(board.states, np.nan)
    back: list[IntArray] = []
    named: list[NDArray[np.bool_]] = []
    repeats: list[FloatArray] = []
    for number, reading in enumerate(readings):
        moved = np.abs(np.nan_to_num(reading.offset - stood))
        repeats.append(np.clip((moved - _SAME_PIPE_CENTS) / 3.0, 0.0, 10.0))
        if number == 0:
            origin, arrive = states, reading.cost
        else:
            through = score[:, np.newaxis] + between
            through[states, states] += repeats[-1]
            origin = np.argmin(through, axis=0)
            arrive = through[origin, states] + reading.cost
        stay = score + reading.leave
        take = arrive <= stay
        back.append(np.where(take, origin, states))
        named.append(take)
        score = np.where(take, arrive, stay)
        stood = np.where(take, reading.offset, stood)
    state = int(np.argmin(score))
    chosen: list[int] = []
    for origins, take in zip(reversed(back), reversed(named), strict=True):
        chosen.append(state if take[state] else -1)
        state = int(origins[state])
    chosen.reverse()
    return chosen, repeats


def sureness_of(
    readings: Sequence[Reading],
    board: Keyboard,
    stride: Stride,
    named: tuple[Sequence[int], Sequence[FloatArray]],
) -> list[float]:
    """Probability of each chosen key (or of no key), by forward and backward sums.

    `named` is the result of `name_events` for the same readings, board and stride.
    """
    chosen, costs = named
    ways = np.exp(-_between(board, stride))
    repeats = [np.exp(-cost) for cost in costs]
    own = np.diag(ways)
    before = [np.zeros(board.states)]
    arrive: list[FloatArray] = []
    for number, reading in enumerate(readings):
        flow = before[-1]
        if number:
            top = flow.max()
            mass = np.exp(flow - top)
            summed = (mass[:, np.newaxis] * ways).sum(axis=0) - mass * own * (1.0 - repeats[number])
            flow = top + np.log(np.maximum(summed, 1e-300))
        arrive.append(flow - reading.cost)
        before.append(np.logaddexp(arrive[-1], before[-1] - reading.leave))
    after = [np.zeros(board.states)]
    for number in range(len(readings) - 1, 0, -1):
        reading, later = readings[number], after[-1]
        heard = later - reading.cost
        top = heard.max()
        mass = np.exp(heard - top)
        summed = (ways * mass).sum(axis=1) - own * (1.0 - repeats[number]) * mass
        after.append(np.logaddexp(top + np.log(np.maximum(summed, 1e-300)), later - reading.leave))
    after.reverse()
    result = []
    for number, reading in enumerate(readings):
        keyed = arrive[number] + after[number]
        unkeyed = before[number] - reading.leave + after[number]
        top = max(keyed.max(), unkeyed.max())
        keyed, unkeyed = np.exp(keyed - top), np.exp(unkeyed - top)
        total = keyed.sum() + unkeyed.sum()
        state = chosen[number]
        right = (
            unkeyed.sum()
            if state < 0
            else keyed.reshape(-1, board.count)[:, board.key_of(state)].sum()
        )
        result.append(float(min(1.0, right / total)))
    return result


def _between(board: Keyboard, stride: Stride) -> FloatArray:
    """Cost of going from state to state; the overtone makes no difference."""
    blocks = len(board.overtones)
    return np.tile(order_costs(board, stride), (blocks, blocks))


def find_stride(keys: Sequence[int]) -> Stride:
    """The walk's stride from the first naming: what most steps agree on."""
    steps = np.diff(np.asarray(keys, np.int64))
    steps = steps[steps != 0]
    if len(steps) < 2:
        return Stride(0)
    values, counts = np.unique(steps, return_counts=True)
    best = int(np.argmax(counts))
    if counts[best] < 0.4 * len(steps):
        # No clear stride: at least the direction, from single steps.
        way = int(np.sign(np.median(steps)))
        return Stride(way if np.mean(np.sign(steps) == way) > 0.7 else 0)
    return Stride(int(values[best]))


def in_order(keys: Sequence[int], stride: Stride) -> list[bool]:
    """Which keys are on the walk's path: the longest subsequence that never goes against it.

    Of two equally long ones, the one with more steps of the walk's own stride. With no clear
    direction every key is on it.
    """
    if stride.keys == 0 or not keys:
        return [True] * len(keys)
    way = int(np.sign(stride.keys))
    path = np.asarray(keys, np.int64) * way
    best = np.ones(len(path))
    origin = np.full(len(path), -1)
    for i in range(1, len(path)):
        step = path[i] - path[:i]
        gain = np.where(step >= 0, best[:i] + 1.0, -np.inf)
        gain += np.where(step == abs(stride.keys), 0.01, 0.0)
        j = int(np.argmax(gain))
        if gain[j] > best[i]:
            best[i], origin[i] = gain[j], j
    kept = [False] * len(path)
    at = int(np.argmax(best))
    while at >= 0:
        kept[at] = True
        at = int(origin[at])
    return kept
