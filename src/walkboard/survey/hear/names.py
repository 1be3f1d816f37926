"""Which of two near unisons is which, from how their ranks sound along the keys of a walk.

A hold gives two places with two spectra and no names. What each pair's spectra have in common along
the keys tells more than any hold by itself: a rank's loudness and the shape of its spectrum go on
from key to key, so a pair that is plain in the bass names those above it.

Of a pair the differences of level are looked at, partial by partial: at one place in the room and
nearly one frequency, so that most of what the room does falls out. With the names right they are

    d_n(k) = due_n(k) + c(k) + e_n(k) + scatter,

`due` what the kinds of pipe let expect (`joint.labels`), c how much louder the one rank is, e how
its spectrum departs from its kind: normal, going on along the keys as first-order
(Ornstein-Uhlenbeck) processes. Crosswise the sign of d is turned. The holds are gone through from
below and from above, each time leaving a normal belief about c and e that takes the hold's two
readings by their odds (assumed-density filter: Maybeck 1982, Stochastic Models 2, ch. 12); what
both passes know of a hold without that hold itself then weighs its names. The scatter is not known
beforehand: a few sizes are tried and weighed by how likely they make the walk.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.listening.hold.movement import Floats

MOST_PARTIALS = 12
_LOUDER_DB = 9.0  # of one rank over the other; chosen
_LOUDER_KEYS = 60.0  # over which that goes on
_SHAPE_DB = 5.0  # of a rank's partials about its kind; common practice, no source
_SHAPE_KEYS = 30.0
_REGULATED_DB = 2.5  # of two pipes' levels against their ranks'; chosen
_REMEMBERED_DB = 6.0  # the same of pipes that were not heard in one hold; chosen
_SCATTERS_DB = (4.0, 6.0, 8.5, 12.0)  # of a partial's difference: voicing and room
_WHOLE_SHARE = 0.4  # of a partial's scatter that a level of several has
# That a hold is believed with when it tells of others. Not much less: a doubt of one in fifty, of a
# turn by eighty decibels, would drown what is known of the ranks.
_MOST_ODDS = 12.0


@dataclass(frozen=True, slots=True)
class PairHeard:
    """Two near unisons of one hold, or of one key alone, under the names that they bear.

    Attributes
    ----------
    place : float
        Along the keys [semitones].
    difference_db : mapping of int to float
        Level of the first over the second, by partial.
    due_db : mapping of int to float
        The same as their kinds let expect.
    odds : float
        Logarithm of the odds that they are named right, from all else that is known; infinite
        where there is no question.
    level_db : float or None
        Level of the first over the second as a whole, where no partial was kept.
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
    share: float = 1.0  # of a partial's scatter that the values have

    @property
    def regulated_db(self) -> float:
        """Scatter that all differences of the pair share."""
        return _REMEMBERED_DB if math.isinf(self.odds) else _REGULATED_DB


@dataclass(frozen=True, slots=True)
class _Belief:
    mean: Floats
    covariance: Floats


def odds_along(pairs: Sequence[PairHeard]) -> list[float]:
    """Logarithm of the odds that each pair is named right, by its spectra and all others'.

    What a pair's own `odds` say is not counted into its answer, only into the others'.
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
    """What is believed before each pair from those before it; how likely they are together."""
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
    """What two passes know together; what both began with is counted once."""
    of_low, of_high = np.linalg.inv(low.covariance), np.linalg.inv(high.covariance)
    covariance = np.linalg.inv(of_low + of_high - np.linalg.inv(_at_first()))
    return _Belief(covariance @ (of_low @ low.mean + of_high @ high.mean), covariance)


def _spread(one: _Seen, belief: _Belief, scatter_db: float) -> Floats:
    """Covariance of the differences under a belief [dB²]."""
    own = np.full((len(one.values), len(one.values)), one.regulated_db**2)
    own += (one.share * scatter_db) ** 2 * np.eye(len(one.values))
    return np.asarray(one.rows @ belief.covariance @ one.rows.T + own)


def _evidence_for(one: _Seen, belief: _Belief, scatter_db: float) -> tuple[float, Floats]:
    """Odds by the spectra that a pair is named right, and the differences due."""
    due = one.due + one.rows @ belief.mean
    if not len(one.values):
        return 0.0, due
    spread = _spread(one, belief, scatter_db)
    return float(2.0 * one.values @ np.linalg.solve(spread, due)), due


def _taken(one: _Seen, belief: _Belief, scatter_db: float) -> tuple[_Belief, float]:
    """The belief after a pair, its names as likely as they are; and how likely the pair was."""
    if not len(one.values):
        return belief, 0.0
    evidence, due = _evidence_for(one, belief, scatter_db)
    spread = _spread(one, belief, scatter_db)
    odds = evidence + one.odds
    if math.isfinite(odds):
        odds = min(max(odds, -_MOST_ODDS), _MOST_ODDS)
    right = 1.0 / (1.0 + math.exp(-odds)) if odds > -700.0 else 0.0
    gain = np.linalg.solve(spread, one.rows @ belief.covariance).T
    turn = gain @ (2.0 * one.values)  # from crosswise to as named
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
