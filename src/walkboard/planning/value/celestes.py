"""Celestes in the cost: each against its partner's pitch now, unless that is tuned first.

A celeste comes after its partner. Where the partner stays as it is, the celeste is tuned to it, and
the organ's reference does not count for it. Where the partner is tuned, the celeste is judged
against where the partner will be, as any other pipe.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

import numpy as np

from walkboard.organ.celestes import celeste_target_hz, partner_pipe
from walkboard.organ.model import Organ, PipeRef
from walkboard.planning.arrays import FloatArray
from walkboard.planning.value.belief import Known, Parts
from walkboard.quantities import cents_of_ratio, ratio_of_cents


def pairs_known(organ: Organ, known: Sequence[Known]) -> list[tuple[int, int]]:
    """Places of each celeste among these pipes and of its partner, where both are."""
    place = {k.pipe: n for n, k in enumerate(known)}
    return [(place[celeste], place[partner]) for celeste, partner in _pairs(organ, place)]


def beside_partners(  # noqa: PLR0917
    organ: Organ,
    known: Sequence[Known],
    target_hz: FloatArray,
    mean_cents: FloatArray,
    parts: Parts,
    tuned: Collection[PipeRef],
) -> tuple[Parts, FloatArray, FloatArray] | None:
    """What is known, celestes against their partners as these are.

    Parameters
    ----------
    organ : Organ
    known : sequence of PipeCents or PipeForecast, n of them
    target_hz, mean_cents : (n,) arrays
        Where each should be [Hz], and how far it is from that in the mean [cents].
    parts : Parts
        The same with their uncertainty.
    tuned : collection of PipeRef
        Partners that are tuned first.

    Returns
    -------
    parts, target_hz, follows
        `follows` is 0 for the celestes that were restated, else 1. None where there is none.
    """
    place = {k.pipe: i for i, k in enumerate(known)}
    pairs = [(c, p) for c, p in _pairs(organ, place) if p not in tuned]
    if not pairs:
        return None
    target, sharper = target_hz.copy(), np.zeros(len(known))
    extra_sigma, follows = np.zeros(len(known)), np.ones(len(known))
    counts = np.diff(np.append(parts.starts, len(parts.share)))
    variance = parts.mean(parts.sigma_cents**2 + (parts.cents - np.repeat(mean_cents, counts)) ** 2)
    for celeste, partner in pairs:
        own, other = place[celeste], place[partner]
        partner_hz = float(target_hz[other]) * ratio_of_cents(float(mean_cents[other]))
        target[own] = celeste_target_hz(organ, celeste, partner_hz)
        sharper[own] = cents_of_ratio(float(target_hz[own] / target[own]))
        extra_sigma[own] = np.sqrt(variance[other])
        follows[own] = 0.0
    moved = Parts(
        parts.starts,
        parts.share,
        parts.cents + parts.each(sharper),
        np.hypot(parts.sigma_cents, parts.each(extra_sigma)),
    )
    return moved, target, follows


def _pairs(organ: Organ, pipes: Iterable[PipeRef]) -> list[tuple[PipeRef, PipeRef]]:
    """Each celeste among these pipes with its partner, where that is among them too."""
    there = set(pipes)
    celestes = {rank.id for rank in organ.ranks if rank.is_celeste}
    found = []
    for pipe in sorted(p for p in there if p.rank in celestes):
        partner = partner_pipe(organ, pipe)
        if partner is not None and partner in there:
            found.append((pipe, partner))
    return found
