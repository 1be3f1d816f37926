"""Which of two near unisons is which, from how their ranks sound along the keys of a walk.

A hold gives two places with two spectra but no names. What the pairs' spectra have in common along
the keys says more than any single hold: a rank's loudness and spectral shape continue from key to
key, so a pair that is clear in the bass names those above it.

For each pair we use the differences of level, partial by partial: at the same place in the room and
nearly the same frequency, so most of the room's effect cancels. With the right names they are

    d_n(k) = due_n(k) + c(k) + e_n(k) + scatter,

where `due` is the difference expected of their kinds (`joint.labels`), c how much louder one rank
is, and e how its spectrum departs from its kind: both normal, first-order (Ornstein-Uhlenbeck)
processes along the keys. With swapped names d changes sign. One pass runs upward and one downward;
each keeps a normal belief about c and e that includes the hold's two readings by their odds
(assumed-density filter: Maybeck 1982, Stochastic Models 2, ch. 12). What both passes know of a
hold, without the hold itself, then weighs its names. The scatter is unknown: a few sizes are tried
and weighted by how likely they make the walk.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.listening.hold.movement import Floats

MOST_PARTIALS = 12
_LOUDER_DB = 9.0  # level of one rank over the other; chosen
_LOUDER_KEYS = 60.0  # correlation length of that
_SHAPE_DB = 5.0  # scatter of a rank's partials about its kind; common practice, no source
_SHAPE_KEYS = 30.0
_REGULATED_DB = 2.5  # scatter of two pipes' levels about their ranks'; chosen
_REMEMBERED_DB = 6.0  # the same for pipes not heard in one hold; chosen
_SCATTERS_DB = (4.0, 6.0, 8.5, 12.0)  # scatter of a partial's difference: voicing and room
_WHOLE_SHARE = 0.4  # share of a partial's scatter in a level of several partials
# Confidence in a hold when it informs others. Not much less: a one-in-fifty doubt about a swap of
# eighty decibels would drown what is known about the ranks.
_MOST_ODDS = 12.0


@dataclass(frozen=True, slots=True)
class PairHeard:
    """Two near unisons of one hold, or heard alone at one key, under their current names.

    Attributes
    ----------
    place : float
        Place along the keys [semitones].
    difference_db : mapping of int to float
        Level of the first over the second, by partial.
    due_db : mapping of int to float
        The same as expected of their kinds.
    odds : float
        Log odds that the names are right, from all other evidence; infinite if there is no
        question.
    level_db : float or None
        Level of the first over the second as a whole, if no partial was kept.
    """

    place: float
    difference_db: Mapping[int, float]
    due_db: Mapping[int, float]
    odds: float = 0.0
    level_db: float | None = None


@dataclass(frozen=True, slots=True)
class _Seen:
    """A pair as an observation: d = due + rows @ state + scatter."""

    place: float
    values: Floats
    due: Floats
    rows: Floats
    odds: float
    share: float = 1.0  # the values' scatter relative to a partial's

    @property
    def regulated_db(self) -> float:
        """Scatter common to all differences of the pair."""
        return _REMEMBERED_DB if math.isinf(self.odds) else _REGULATED_DB


@dataclass(frozen=True, slots=True)
class _Belief:
    mean: Floats
    covariance: Floats


def odds_along(pairs: Sequence[PairHeard]) -> list[float]:
    """Log odds that each pair is named right, from its spectra and all others'.

    A pair's own `odds` do not count in its result, only in the others'.
    """
    order = sorted(range(len(pairs)), key=lambda index: pairs[index].place)
    seen = [_as_seen(pairs[index]) for index in order]
    weights, answers = [], []
    for scatter_db in _SCATTERS_DB:
        below, likely = _passed(seen, scatter_db)
        above, _ = _passed(seen[::-1], scatter_db)
        weights.append(likely)
        answers.append(
            [
                _evidence_for(one, _both(low, high), scatter_db)[0]
                for one, low, high in zip(seen, below, above[::-1], strict=True)
            ]
        )
    weight = np.exp(np.array(weights) - max(weights))
    weight /= weight.sum()
    right = 1.0 / (1.0 + np.exp(-np.clip(np.array(answers), -30.0, 30.0)))
    share = np.clip(weight @ right, 1e-13, 1.0 - 1e-13)
    odds = np.log(share) - np.log1p(-share)
    found = [0.0] * len(pairs)
    for index, value in zip(order, odds, strict=True):
        found[index] = float(value)
    return found


def _as_seen(pair: PairHeard) -> _Seen:
    numbers = [n for n in sorted(pair.difference_db) if n <= MOST_PARTIALS and n in pair.due_db]
    rows = np.zeros((len(numbers), 1 + MOST_PARTIALS))
    rows[:, 0] = 1.0
    rows[range(len(numbers)), numbers] = 1.0
    values = np.array([pair.difference_db[n] for n in numbers])
    due = np.array([pair.due_db[n] for n in numbers])
    if not numbers and pair.level_db is not None:
        rows = np.zeros((1, 1 + MOST_PARTIALS))
        rows[0, 0] = 1.0
        return _Seen(
            pair.place, np.array([pair.level_db]), np.zeros(1), rows, pair.odds, _WHOLE_SHARE
        )
    return _Seen(pair.place, values, due, rows, pair.odds)


def _at_first() -> Floats:
    sizes = np.full(1 + MOST_PARTIALS, _SHAPE_DB**2)
    sizes[0] = _LOUDER_DB**2
    return np.asarray(np.diag(sizes))


def _passed(seen: Sequence[_Seen], scatter_db: float) -> tuple[list[_Belief], float]:
    """The belief before each pair from those before it, and the likelihood of all."""
    start = _at_first()
    belief = _Belief(np.zeros(len(start)), start)
    before = []
    likely = 0.0
    for index, one in enumerate(seen):
        if index:
            belief = _carried(belief, abs(one.place - seen[index - 1].place))
        before.append(belief)
        belief, merit = _taken(one, belief, scatter_db)
        likely += merit
    return before, likely


def _carried(belief: _Belief, keys: float) -> _Belief:
    decay = np.full(len(belief.mean), math.exp(-keys / _SHAPE_KEYS))
    decay[0] = math.exp(-keys / _LOUDER_KEYS)
    both = np.outer(decay, decay)
    fresh = np.diag((1.0 - decay**2) * np.diag(_at_first()))
    return _Belief(decay * belief.mean, both * belief.covariance + fresh)


def _both(low: _Belief, high: _Belief) -> _Belief:
    """The combined belief of two passes; their common prior counts once."""
    of_low, of_high = np.linalg.inv(low.covariance), np.linalg.inv(high.covariance)
    covariance = np.linalg.inv(of_low + of_high - np.linalg.inv(_at_first()))
    return _Belief(covariance @ (of_low @ low.mean + of_high @ high.mean), covariance)


def _spread(one: _Seen, belief: _Belief, scatter_db: float) -> Floats:
    """Covariance of the differences under a belief [dB²]."""
    own = np.full((len(one.values), len(one.values)), one.regulated_db**2)
    own += (one.share * scatter_db) ** 2 * np.eye(len(one.values))
    return np.asarray(one.rows @ belief.covariance @ one.rows.T + own)


def _evidence_for(one: _Seen, belief: _Belief, scatter_db: float) -> tuple[float, Floats]:
    """Odds from the spectra that a pair is named right, and the expected differences."""
    due = one.due + one.rows @ belief.mean
    if not len(one.values):
        return 0.0, due
    spread = _spread(one, belief, scatter_db)
    return float(2.0 * one.values @ np.linalg.solve(spread, due)), due


def _taken(one: _Seen, belief: _Belief, scatter_db: float) -> tuple[_Belief, float]:
    """The belief after a pair, weighted by its names' odds; and the pair's likelihood."""
    if not len(one.values):
        return belief, 0.0
    evidence, due = _evidence_for(one, belief, scatter_db)
    spread = _spread(one, belief, scatter_db)
    odds = evidence + one.odds
    if math.isfinite(odds):
        odds = min(max(odds, -_MOST_ODDS), _MOST_ODDS)
    right = 1.0 / (1.0 + math.exp(-odds)) if odds > -700.0 else 0.0
    gain = np.linalg.solve(spread, one.rows @ belief.covariance).T
    turn = gain @ (2.0 * one.values)  # from swapped to as named
    mean = belief.mean + gain @ ((2.0 * right - 1.0) * one.values - due)
    covariance = belief.covariance - gain @ one.rows @ belief.covariance
    covariance += right * (1.0 - right) * np.outer(turn, turn)
    known = 1.0 if math.isinf(one.odds) else 1.0 / (1.0 + math.exp(-one.odds))
    away = [np.array(sign * one.values - due) for sign in (1.0, -1.0)]
    bent = [-0.5 * float(x @ np.linalg.solve(spread, x)) for x in away]
    top = max(bent)
    both = known * math.exp(bent[0] - top) + (1.0 - known) * math.exp(bent[1] - top)
    merit = top + math.log(both + 1e-300) - 0.5 * float(np.linalg.slogdet(spread)[1])
    return _Belief(mean, 0.5 * (covariance + covariance.T)), merit
