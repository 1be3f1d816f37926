"""What past pipes show about how the next of their kind, or of their rank, will settle."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from walkboard.condition.settling.forecast import USUAL, Warmth

_LEAST_KNOWN = 3.0  # number of past pipes that the usual time constant and offset count as
_LARGEST_LOG_TAU_SIGMA = 0.5  # of ln τ: a less certain pipe is left out
_LEAST_OFFSET_CENTS = 0.1


@dataclass(frozen=True, slots=True)
class PastSettling:
    """A pipe that was heard settling.

    Attributes
    ----------
    kind : str
        What it counts for: its tuning device, or its rank.
    log_tau, log_tau_sigma : float
        ln(τ/s) with one standard deviation.
    offset_cents, offset_sigma_cents : float or None
        How far above its settled pitch the hand left it [cents]; None if unknown.
    """

    kind: str
    log_tau: float
    log_tau_sigma: float
    offset_cents: float | None = None
    offset_sigma_cents: float | None = None


def learn_warmth(past: Iterable[PastSettling], usual: Warmth = USUAL) -> Mapping[str, Warmth]:
    """The time constant and the offset of each kind of pipe that has been heard settling.

    A kind's centre and spread of ln τ are a weighted mean of its pipes, each weighted by its
    certainty, and of `usual`, which counts as three pipes; a pipe with ln τ uncertain by more than
    .5 is left out. The offset's mean square is that of its pipes, including their uncertainty, and
    of `usual` as three. So if tools warm a kind more than usual, the next session waits longer.

    Parameters
    ----------
    past : iterable of PastSettling
    usual : Warmth
        Used for a kind that was never heard.

    Returns
    -------
    mapping of kind to Warmth
        Only kinds that were heard; use `usual` for the others.
    """
    kinds: dict[str, list[PastSettling]] = {}
    for pipe in past:
        kinds.setdefault(pipe.kind, []).append(pipe)
    learned = {}
    for kind, pipes in kinds.items():
        sure = [pipe for pipe in pipes if pipe.log_tau_sigma < _LARGEST_LOG_TAU_SIGMA]
        value = np.array([pipe.log_tau for pipe in sure])
        own = np.array([pipe.log_tau_sigma for pipe in sure])
        weight = usual.spread**2 / (usual.spread**2 + own**2)  # an uncertain pipe counts little
        total = _LEAST_KNOWN + float(weight.sum())
        centre = (_LEAST_KNOWN * math.log(usual.tau_s) + float(weight @ value)) / total
        scatter = np.maximum((value - centre) ** 2 - own**2, 0.0)
        variance = (_LEAST_KNOWN * usual.spread**2 + float(weight @ scatter)) / total
        offset = _offset_cents(pipes, usual.offset_cents)
        learned[kind] = Warmth(math.exp(centre), math.sqrt(variance), offset)
    return learned


def _offset_cents(pipes: Iterable[PastSettling], usual_cents: float) -> float:
    """Root mean square of what hands left."""
    squares = [
        pipe.offset_cents**2 + (pipe.offset_sigma_cents or 0.0) ** 2
        for pipe in pipes
        if pipe.offset_cents is not None
    ]
    mean = (_LEAST_KNOWN * usual_cents**2 + sum(squares)) / (_LEAST_KNOWN + len(squares))
    return max(_LEAST_OFFSET_CENTS, math.sqrt(mean))
