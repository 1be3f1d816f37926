"""The plan as 0.1.0 made it, so that the ear study can show what a change of the cost is worth.

Badness u²/(1 + u²) by beats alone, half at 2 beats a second or 8 cents; pipes weighed by loudness,
company, kind, and the place on the keyboard, falling to a half at its ends.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import voigt_profile

from bench._ear_organs import EarOrgan
from walkboard.condition.assess import assess
from walkboard.planning.minutes import in_steps
from walkboard.planning.request import PlanRequest
from walkboard.planning.route.ways import QUICK
from walkboard.planning.value.cost import heard_in_treble
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.pipe_offsets import REFERENCES_CENTS
from walkboard.planning.what_if import Prepared, prepare
from walkboard.planning.with_walks import choose_and_walk

_HALF_BEATS_HZ, _HALF_CENTS, _CENTS_PER_NEPER = 2.0, 8.0, 1731.234
_AT_THE_ENDS = 0.5


def plan_before(this: EarOrgan, minutes: float) -> tuple[np.ndarray, np.ndarray]:
    """Which pipes that plan tunes, and to where [cents against the organ's own pitch]."""
    prepared: Prepared = prepare(this.organ, assess(this.organ, this.heard, {}), this.heard)
    problem = prepared.problem(PlanRequest(minutes))
    found = problem.situation
    layout = found.layout
    order, weights = problem.order, found.weights
    company = weights.company / heard_in_treble(layout.nominal_hz * weights.beating_partial)
    weight = (weights.level * company * weights.kind * _register(layout))[found.place]
    off = found.parts.cents - REFERENCES_CENTS[:, None]
    badness = weight * _mean_badness(off, found.parts.sigma_cents, found.beat_hz)
    left = _mean_badness(np.zeros_like(found.left_cents), found.left_cents, found.beat_hz)
    left = weight * (left + found.chance_worse * (1.0 - left))
    of_division = layout.division_of[found.place]
    untouched = np.stack(
        [badness[:, of_division == d].sum(axis=1) for d in range(len(layout.organ.divisions))],
        axis=1,
    )
    before = replace(
        problem,
        untouched_by_division=untouched,
        gain=np.ascontiguousarray(badness[:, order] - left[order]),
        must=None,
    )
    outcome = choose_and_walk(this.organ, before, in_steps(minutes), beams=QUICK)
    reference = float(REFERENCES_CENTS[outcome.chosen.reference])
    tuned = np.zeros(len(found.place), dtype=bool)
    tuned[found.place[order[outcome.chosen.pipes]]] = True
    shift = [prepared.condition.divisions[d.id].shift_cents or 0.0 for d in layout.organ.divisions]
    return tuned, np.array(shift)[layout.division_of] + reference


def _register(layout: Layout) -> np.ndarray:
    keys = np.array([d.keys for d in layout.organ.divisions])[layout.division_of]
    lowest = np.array([d.lowest.semitone for d in layout.organ.divisions])[layout.division_of]
    middle = 0.5 * (keys - 1)
    aside = np.minimum(np.abs(layout.semitone - lowest - middle) / middle, 1.0)
    register: np.ndarray = 1.0 - (1.0 - _AT_THE_ENDS) * aside**2
    return register


def _mean_badness(off: np.ndarray, sigma: np.ndarray, hz: np.ndarray) -> np.ndarray:
    width = 1.0 / np.sqrt((hz / _CENTS_PER_NEPER / _HALF_BEATS_HZ) ** 2 + 1.0 / _HALF_CENTS**2)
    mean: np.ndarray = np.maximum(0.0, 1.0 - np.pi * width * voigt_profile(off, sigma, width))
    return mean
