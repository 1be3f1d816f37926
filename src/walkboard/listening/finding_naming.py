"""Naming events: how well each key explains what was heard, and which order makes sense.

The score of a key. A comb explains the lines that lie at whole multiples of one fundamental near
where the key should stand; the fundamental is the one that most lines agree upon. The costs (in
nats, like negative log probabilities) are
- what no comb explains: 14 for all of it, by the lines' weight (power to the 0.35, so that weak
  partials count and the strongest line does not decide alone);
- a comb whose matched partials are all multiples of 2, 3 or 5: then it is another's comb;
- a missing fundamental, where the kind of pipe should have one;
- how far the pipe lies from where the rank as a whole lies: most within 8 cents, some anywhere
  within 60;
- speaking an overtone instead: the octave for full spectra, the twelfth for stopped pipes.
Weights are of our choosing, checked on synthetic walks (`python -m bench holds`); no source.

The order. A first-order chain over the keys (Viterbi for the naming, forward-backward for its
probability; Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77, 1989, sections III A-B)
in which the next key by the walk's own direction and stride costs nothing, and a repeat, a skipped
key, a step back cost a little. An event may be left unnamed at a cost that grows with its length
and level; the chain then goes on from the key before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from walkboard.listening.finding_atoms import Event
from walkboard.listening.finding_features import cents_of_hz, hz_of_cents
from walkboard.listening.heard import ExpectedKey, Spectrum

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_UNEXPLAINED = 14.0
_WEIGHT_POWER = 0.35
_MOST_PARTIALS = 60
_VOTING_PARTIALS = 16
_TELLING_PARTIALS = 12.0
_RINGING = 0.3
_STRAY_CENTS = 50.0
_SAME_PIPE_CENTS = 15.0
_VOTING_LINES = 8
_REACH_CENTS = 75.0
_OVERTONE_COST = {
    Spectrum.FULL: {2: 5.0, 3: 6.5},
    Spectrum.ODD: {2: 7.5, 3: 5.0},
    Spectrum.BRIGHT: {2: 5.5, 3: 6.5},
}


@dataclass(frozen=True, slots=True)
class Stride:
    """How the walk goes: signed keys from one hold to the next; 0 where none is plain."""

    keys: int = 0


@dataclass(frozen=True, slots=True)
class Reading:
    """How the states explain one event.

    A state is a key and an overtone: state s is key s % keys, overtone s // keys + 1.

    Attributes
    ----------
    cost : ndarray, shape (states,)
        Without the order [nats].
    explained : ndarray, shape (states,)
        Share of the weight explained, 0 to 1.
    energy : ndarray, shape (states,)
        Share of the power explained, 0 to 1.
    offset : ndarray, shape (states,)
        Of the first comb from where it was expected [cents].
    leave : float
        Cost of leaving the event unnamed [nats].
    """

    cost: FloatArray
    explained: FloatArray
    energy: FloatArray
    offset: FloatArray
    leave: float


@dataclass(frozen=True, slots=True)
class Naming:
    """The most probable naming of the events.

    Attributes
    ----------
    state : list of int
        For each event its state, or -1 where it is left unnamed.
    sureness : list of float
        Probability of the key (of being no key where unnamed).
    """

    state: list[int]
    sureness: list[float]


class Keyboard:
    """The expected keys, their combs laid out as arrays.

    Parameters
    ----------
    keys : sequence of ExpectedKey
        At least one.
    """

    def __init__(self, keys: Sequence[ExpectedKey]) -> None:
        self.keys = tuple(keys)
        self.count = len(self.keys)
        single = all(len(key.combs) == 1 for key in self.keys)
        self.overtones = (1, 2, 3) if single else (1,)
        self.states = self.count * len(self.overtones)
        ranks = max(len(key.combs) for key in self.keys)
        self.base = np.full((self.states, ranks), np.nan)
        self.habit = np.zeros(self.states)
        self.rootless = np.zeros((self.states, ranks))
        for order, overtone in enumerate(self.overtones):
            for number, key in enumerate(self.keys):
                state = order * self.count + number
                for rank, comb in enumerate(key.combs):
                    self.base[state, rank] = cents_of_hz(comb.hz * overtone)
                    bright = comb.spectrum is Spectrum.BRIGHT or comb.hz * overtone < 110.0
                    self.rootless[state, rank] = 1.0 if bright else 4.0
                if overtone > 1:
                    self.habit[state] = _OVERTONE_COST[key.combs[0].spectrum][overtone]

    def key_of(self, state: int) -> int:
        """The key of a state."""
        return state % self.count

    def overtone_of(self, state: int) -> int:
        """The overtone that is spoken in a state."""
        return self.overtones[state // self.count]


def line_weights(event: Event, before: Event | None) -> FloatArray:
    """Weight of each line.

    What rides on a stronger neighbour (its own flutter) has none; what still rings of the event
    before has little.
    """
    weight = np.asarray(10.0 ** (event.level_db / 10.0 * _WEIGHT_POWER) * event.share**0.5)
    apart = np.abs(event.cents[:, np.newaxis] - event.cents)
    louder = event.level_db[np.newaxis, :] - event.level_db[:, np.newaxis]
    rides = ((apart < 95.0) & (louder > 14.0)).any(axis=1)
    weight[rides] = 0.0
    if before is not None:
        same = np.abs(event.cents[:, np.newaxis] - before.cents) < 35.0
        fallen = event.level_db[:, np.newaxis] < before.level_db - 3.0
        weight[(same & fallen).any(axis=1)] *= _RINGING
    return weight


def read_event(
    event: Event, before: Event | None, board: Keyboard, shift_cents: float, leave: float
) -> Reading:
    """Score every state for one event, given the event before it."""
    weight = line_weights(event, before)
    power = 10.0 ** (event.level_db / 10.0) * event.share * (weight > 0.0)
    tolerance = 12.0 + 260.0 / np.array([hz_of_cents(cents) for cents in event.cents])
    matched = np.zeros((board.states, len(weight)), bool)
    cost = board.habit.copy()
    offset = np.zeros(board.states)
    ranks = board.base.shape[1]
    heard = np.zeros((board.states, ranks), bool)
    measure = np.zeros((board.states, len(weight)))
    for rank in range(ranks):
        base = board.base[:, rank : rank + 1]
        found, fits, number = _fit_comb(event.cents, weight, tolerance, base, shift_cents)
        # High partials lie so close that any line fits one: they tell little.
        told = weight / (1.0 + (number / _TELLING_PARTIALS) ** 2)
        mass = np.where(fits, told, 0.0).sum(axis=1)
        share = mass / np.maximum(told.sum(axis=1), 1e-30)
        sounding = np.isfinite(base[:, 0]) & (share > 0.02)
        away = found - shift_cents
        beyond = np.maximum(0.0, np.abs(away) - _STRAY_CENTS) / 6.0
        spread = 0.85 * np.exp(-0.5 * (away / 8.0) ** 2) + 0.15 * np.exp(-np.abs(away) / 20.0)
        odd = np.zeros(board.states)
        for prime in (2, 3, 5):
            other = np.where(fits & (number % prime != 0), told, 0.0).sum(axis=1)
            free_of = other / np.maximum(mass, 1e-30)
            odd = np.maximum(odd, np.where(free_of < 0.05, 9.0, 0.0))
        root = np.where(fits & (number == 1), told, 0.0).sum(axis=1) / np.maximum(mass, 1e-30)
        comb_cost = -np.log(spread) + beyond**2 + odd + np.where(root < 0.03, board.rootless[:, rank], 0.0)
        if ranks == 1:
            cost += np.where(sounding, comb_cost, 20.0)
        else:
            # With several ranks one comb's lines are often another's too; a rank that is not
            # heard is likelier than a comb that does not fit.
            cost += np.where(np.isfinite(base[:, 0]), np.minimum(comb_cost, 3.0) / ranks, 0.0)
            cost += np.where(np.isfinite(base[:, 0]) & ~sounding, 4.0 / ranks, 0.0)
        heard[:, rank] = sounding
        if rank == 0:
            offset = found
            measure = told
        else:
            measure = np.maximum(measure, told)
        matched |= fits
    explained = np.where(matched, measure, 0.0).sum(axis=1) / np.maximum(measure.sum(axis=1), 1e-30)
    energy = matched @ power / max(float(power.sum()), 1e-30)
    cost += _UNEXPLAINED * (1.0 - explained) + np.where(heard.any(axis=1), 0.0, 20.0)
    return Reading(cost, explained, energy, offset, leave)


def _fit_comb(
    cents: FloatArray,
    weight: FloatArray,
    tolerance: FloatArray,
    base: FloatArray,
    shift_cents: float,
) -> tuple[FloatArray, NDArray[np.bool_], IntArray]:
    """The offset [cents] that most lines agree upon, which lines fit it, their partial numbers."""
    safe = np.where(np.isfinite(base), base, 1e6)
    number = np.rint(2.0 ** np.clip((cents - safe) / 1200.0, -10.0, 10.0)).astype(np.int64)
    proper = (number >= 1) & (number <= _MOST_PARTIALS)
    number = np.maximum(number, 1)
    away = cents - safe - 1200.0 * np.log2(number)
    votes = proper & (number <= _VOTING_PARTIALS) & (np.abs(away - shift_cents) < _REACH_CENTS)
    count = min(_VOTING_LINES, len(cents))
    candidate = away[:, :count]
    near = np.abs(away[:, np.newaxis, :] - candidate[:, :, np.newaxis]) < tolerance
    support = np.where(near & votes[:, np.newaxis, :], weight, 0.0).sum(axis=2)
    support *= 1.0 - 0.003 * np.abs(candidate - shift_cents)
    support = np.where(votes[:, :count], support, -1.0)
    best = np.argmax(support, axis=1)
    rows = np.arange(len(base))
    offset = candidate[rows, best]
    for _ in range(2):
        fits = proper & (np.abs(away - offset[:, np.newaxis]) < tolerance)
        mass = np.where(fits, weight / tolerance, 0.0)
        total = mass.sum(axis=1)
        offset = np.where(
            total > 0, (mass * np.where(fits, away, 0.0)).sum(axis=1) / np.maximum(total, 1e-30), 0
        )
    fits &= (support[rows, best] > 0.0)[:, np.newaxis]
    return offset, fits, number


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


def name_events(readings: Sequence[Reading], board: Keyboard, stride: Stride) -> Naming:
    """The most probable states in order, with the probability of each key."""
    if not readings:
        return Naming([], [])
    blocks = len(board.overtones)
    between = np.tile(order_costs(board, stride), (blocks, blocks))
    if stride.keys:
        usual = np.min(between, axis=0).min()
        between = between - usual
    states = board.states
    # The chain's state is the last named key; a leading unnamed event leaves it open.
    score = np.full(states, 0.0)
    opened = False
    back: list[IntArray] = []
    named: list[NDArray[np.bool_]] = []
    forward: list[FloatArray] = []
    log_alpha = np.zeros(states)
    for reading, before in zip(readings, [None, *readings], strict=False):
        step = between + _same_pipe(before, reading)
        if opened:
            through = score[:, np.newaxis] + step
            origin = np.argmin(through, axis=0)
            arrive = through[origin, np.arange(states)] + reading.cost
            flow = logsumexp(log_alpha[:, np.newaxis] - step, axis=0) - reading.cost
        else:
            origin = np.arange(states)
            arrive = score + reading.cost
            flow = log_alpha - reading.cost
            opened = True
        stay = score + reading.leave
        take = arrive <= stay
        back.append(np.where(take, origin, np.arange(states)))
        named.append(take)
        score = np.where(take, arrive, stay)
        log_alpha = np.logaddexp(flow, log_alpha - reading.leave)
        forward.append(log_alpha)
    state = int(np.argmin(score))
    chosen: list[int] = []
    for origin, take in zip(reversed(back), reversed(named), strict=True):
        chosen.append(state if take[state] else -1)
        state = int(origin[state])
    chosen.reverse()
    return Naming(chosen, _sureness(readings, board, between, chosen))


def _same_pipe(before: Reading | None, reading: Reading) -> FloatArray | float:
    """Cost of a repeat whose pipe stands elsewhere than it stood, on the diagonal [nats]."""
    if before is None:
        return 0.0
    apart = np.abs(before.offset - reading.offset)
    return np.diag(np.clip((apart - _SAME_PIPE_CENTS) / 3.0, 0.0, 10.0))


def _sureness(
    readings: Sequence[Reading], board: Keyboard, between: FloatArray, chosen: Sequence[int]
) -> list[float]:
    """Probability of each chosen key by forward and backward sums."""
    states = board.states
    arrive: list[FloatArray] = []
    before = [np.zeros(states)]
    steps = [
        between + _same_pipe(last, reading)
        for last, reading in zip([None, *readings], readings, strict=False)
    ]
    for number, reading in enumerate(readings):
        flow = (
            before[-1]
            if number == 0
            else logsumexp(before[-1][:, np.newaxis] - steps[number], axis=0)
        )
        arrive.append(flow - reading.cost)
        before.append(np.logaddexp(arrive[-1], before[-1] - reading.leave))
    after = [np.zeros(states)]
    for number in range(len(readings) - 1, -1, -1):
        reading, later = readings[number], after[-1]
        through = logsumexp(later - reading.cost - steps[number], axis=1)
        after.append(np.logaddexp(through, later - reading.leave))
    after.reverse()
    result = []
    for number, reading in enumerate(readings):
        named = arrive[number] + after[number + 1]
        unnamed = float(logsumexp(before[number] - reading.leave + after[number + 1]))
        total = float(np.logaddexp(logsumexp(named), unnamed))
        if chosen[number] < 0:
            result.append(float(np.exp(unnamed - total)))
        else:
            same = named.reshape(-1, board.count)[:, board.key_of(chosen[number])]
            result.append(float(np.exp(logsumexp(same) - total)))
    return result


def find_stride(keys: Sequence[int]) -> Stride:
    """The walk's stride from the keys first named: what most steps agree upon."""
    steps = np.diff(np.asarray(keys, np.int64))
    steps = steps[steps != 0]
    if len(steps) < 2:
        return Stride(0)
    values, counts = np.unique(steps, return_counts=True)
    best = int(np.argmax(counts))
    if counts[best] < 0.4 * len(steps):
        # No plain stride: at least which way it goes, by single steps.
        way = int(np.sign(np.median(steps)))
        return Stride(way if np.mean(np.sign(steps) == way) > 0.7 else 0)
    return Stride(int(values[best]))


def in_order(keys: Sequence[int], stride: Stride) -> list[bool]:
    """Which keys lie on the walk's way: the longest part that never goes against its direction.

    Of two ways of one length the one with more steps of the walk's own stride. Where there is no
    plain direction every key does.
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
