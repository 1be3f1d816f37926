"""How well each key explains an event.

The score of a key. A comb explains the lines at whole multiples of one fundamental near where the
key should be; the fundamental is the one that most lines agree on. The costs (in nats, like
negative log probabilities) are
- what no comb explains: 14 for everything, and much more beyond three tenths, by the lines' weight
  (power to the 0.35, so that weak partials count and the strongest line does not decide alone);
- a comb whose matched partials are all multiples of 2, 3 or 5: then it is another's comb; with
  several ranks sounding this counts in full, because nothing else separates a key from its octave;
- a missing fundamental, if the kind of pipe should have one;
- how far the pipe is from the rank as a whole: most within 8 cents, some anywhere within 60;
- speaking an overtone instead: the octave for full spectra, the twelfth for stopped pipes.
Weights are chosen, checked on synthetic walks (`python -m bench holds`); no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.types import ExpectedKey, Spectrum
from walkboard.listening.walk.bands import cents_of_hz, hz_of_cents
from walkboard.listening.walk.events import Event

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_UNEXPLAINED = 14.0
_UNLIKE = 40.0
_UNMET_USUAL = 0.3
_WEIGHT_POWER = 0.35
_MOST_PARTIALS = 60
_VOTING_PARTIALS = 16
_TELLING_PARTIALS = 12.0
_RINGING = 0.3
_STRAY_CENTS = 50.0
_VOTING_LINES = 8
_REACH_CENTS = 75.0
_OTHERS = 0.05  # share of a comb's weight that only it explains; below, it only has others' lines
_ONLY_OTHERS = 3.0  # cost of such a comb
_LEFT_OVER = 0.05  # share of an event's weight worth a second look
_OVERTONE_COST = {
    Spectrum.FULL: {2: 5.0, 3: 6.5},
    Spectrum.ODD: {2: 7.5, 3: 5.0},
    Spectrum.BRIGHT: {2: 5.5, 3: 6.5},
}


@dataclass(frozen=True, slots=True)
class Reading:
    """How the states explain one event.

    A state is a key and an overtone: state s is key s % keys, overtone s // keys + 1.

    Attributes
    ----------
    cost : ndarray, shape (states,)
        Cost, ignoring the order [nats].
    explained : ndarray, shape (states,)
        Share of the weight explained, 0 to 1.
    energy : ndarray, shape (states,)
        Share of the power explained, 0 to 1.
    offset : ndarray, shape (states,)
        Offset of the first comb from where it was expected [cents].
    leave : float
        Cost of leaving the event unnamed [nats].
    """

    cost: FloatArray
    explained: FloatArray
    energy: FloatArray
    offset: FloatArray
    leave: float


class Keyboard:
    """The expected keys, with their combs as arrays.

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
        """The overtone spoken in a state."""
        return self.overtones[state // self.count]


def line_weights(event: Event, before: Event | None) -> FloatArray:
    """Weight of each line.

    A line beside a stronger one (its own flutter) has none; a line still ringing from the event
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
    combs, placed = _fit_combs(event.cents, weight, tolerance, board.base, shift_cents)
    for rank, (found, fits, number) in enumerate(combs):
        base = board.base[:, rank : rank + 1]
        # High partials are so dense that any line fits one: they say little.
        counted = weight / (1.0 + (number / _TELLING_PARTIALS) ** 2)
        mass = np.where(fits, counted, 0.0).sum(axis=1)
        share = mass / np.maximum(counted.sum(axis=1), 1e-30)
        sounding = np.isfinite(base[:, 0]) & (share > 0.02)
        away = found - shift_cents
        beyond = np.maximum(0.0, np.abs(away) - _STRAY_CENTS) / 6.0
        spread = 0.85 * np.exp(-0.5 * (away / 8.0) ** 2) + 0.15 * np.exp(-np.abs(away) / 20.0)
        odd = np.zeros(board.states)
        for prime in (2, 3, 5):
            other = np.where(fits & (number % prime != 0), counted, 0.0).sum(axis=1)
            free_of = other / np.maximum(mass, 1e-30)
            odd = np.maximum(odd, np.where(free_of < 0.05, 9.0, 0.0))
        root = np.where(fits & (number == 1), counted, 0.0).sum(axis=1) / np.maximum(mass, 1e-30)
        comb_cost = (
            -np.log(spread) + beyond**2 + odd + np.where(root < 0.03, board.rootless[:, rank], 0.0)
        )
        if ranks == 1:
            cost += np.where(sounding, comb_cost, 20.0)
        else:
            # With several ranks one comb's lines are often another's too; a silent rank is more
            # likely than a comb that does not fit.
            cost += np.where(np.isfinite(base[:, 0]), np.minimum(comb_cost, 3.0) / ranks, 0.0)
            cost += np.where(np.isfinite(base[:, 0]) & ~sounding, 4.0 / ranks, 0.0)
            # A key lower by the interval between two ranks matches only by one comb on another's
            # lines.
            cost += np.where(sounding & (odd > 0.0), _ONLY_OTHERS, 0.0)
        heard[:, rank] = sounding
        if rank == 0:
            # From most lines, so that one stray pipe does not move the others of its key.
            offset = placed
            measure = counted
        else:
            measure = np.maximum(measure, counted)
        matched |= fits
    explained = np.where(matched, measure, 0.0).sum(axis=1) / np.maximum(measure.sum(axis=1), 1e-30)
    energy = matched @ power / max(float(power.sum()), 1e-30)
    unmet = 1.0 - explained
    cost += _UNEXPLAINED * unmet + _UNLIKE * np.maximum(0.0, unmet - _UNMET_USUAL)
    cost += np.where(heard.any(axis=1), 0.0, 20.0)
    return Reading(cost, explained, energy, offset, leave)


Fit = tuple[FloatArray, NDArray[np.bool_], IntArray]
"""The offset [cents] that most lines agree on, which lines fit it, their partial numbers."""


def _fit_combs(
    cents: FloatArray,
    weight: FloatArray,
    tolerance: FloatArray,
    base: FloatArray,
    shift_cents: float,
) -> tuple[list[Fit], FloatArray]:
    """Every rank's fit for all states, and the first rank's offset before the second look.

    Ranks in octaves and fifths find each other's lines. A rank that found nothing else searches
    what all of them leave unexplained: a stray pipe is there, rather than dead.
    """
    fitted = [
        _fit_comb(cents, weight, tolerance, base[:, rank : rank + 1], shift_cents)
        for rank in range(base.shape[1])
    ]
    placed = fitted[0][0].copy()
    for rank in range(len(fitted)) if len(fitted) > 1 else ():
        others = np.logical_or.reduce([fits for r, (_, fits, _) in enumerate(fitted) if r != rank])
        offset, fits, _ = fitted[rank]
        left = np.where(others | fits, 0.0, weight)
        lacks = np.where(fits & ~others, weight, 0.0).sum(axis=1) < _OTHERS * np.where(
            fits, weight, 0.0
        ).sum(axis=1)
        lacks &= np.isfinite(base[:, rank])
        lacks &= left.sum(axis=1) > _LEFT_OVER * weight.sum()
        rows = np.flatnonzero(lacks)
        if len(rows) == 0:
            continue
        again = _fit_comb(cents, left[rows], tolerance, base[rows, rank : rank + 1], shift_cents)
        won = np.where(again[1], left[rows], 0.0)
        better = (won.sum(axis=1) > _LEFT_OVER * weight.sum()) & ((won > 0.0).sum(axis=1) > 1)
        offset[rows[better]] = again[0][better]
        fits[rows[better]] = again[1][better]
    return fitted, placed


def _fit_comb(
    cents: FloatArray,
    weight: FloatArray,
    tolerance: FloatArray,
    base: FloatArray,
    shift_cents: float,
) -> tuple[FloatArray, NDArray[np.bool_], IntArray]:
    """The offset [cents] that most lines agree on, which lines fit it, their partial numbers."""
    safe = np.where(np.isfinite(base), base, 1e6)
    number = np.rint(2.0 ** np.clip((cents - safe) / 1200.0, -10.0, 10.0)).astype(np.int64)
    proper = (number >= 1) & (number <= _MOST_PARTIALS)
    number = np.maximum(number, 1)
    away = cents - safe - 1200.0 * np.log2(number)
    votes = proper & (number <= _VOTING_PARTIALS) & (np.abs(away - shift_cents) < _REACH_CENTS)
    count = min(_VOTING_LINES, len(cents))
    if weight.ndim == 1:
        first = np.broadcast_to(np.arange(count), (len(base), count))
        mine = weight[np.newaxis, np.newaxis, :]
    else:
        first = np.argsort(-weight * votes, axis=1, kind="stable")[:, :count]
        mine = weight[:, np.newaxis, :]
    candidate = np.take_along_axis(away, first, axis=1)
    near = np.abs(away[:, np.newaxis, :] - candidate[:, :, np.newaxis]) < tolerance
    support = np.where(near & votes[:, np.newaxis, :], mine, 0.0).sum(axis=2)
    support *= 1.0 - 0.003 * np.abs(candidate - shift_cents)
    support = np.where(np.take_along_axis(votes, first, axis=1), support, -1.0)
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
