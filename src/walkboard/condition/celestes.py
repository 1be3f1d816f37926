"""Celestes against their partners as those were heard, instead of against the organ's pitch."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import hypot

from walkboard.condition.state import PipeCents
from walkboard.organ.celestes import celeste_target_hz, partner_pipe
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio, ratio_of_cents


@dataclass(frozen=True, slots=True)
class CelesteBeats:
    """A pipe of a celeste beside its partner, both as heard.

    Attributes
    ----------
    pipe, partner : PipeRef
    beats_hz, due_hz : float
        Beats a second as heard and as described, + where the celeste is sharp of its partner [Hz].
    cents, sigma_cents : float
        How far the celeste is from where it should be beside that partner, + is sharp.
    """

    pipe: PipeRef
    partner: PipeRef
    beats_hz: float
    due_hz: float
    cents: float
    sigma_cents: float


def celeste_beats(organ: Organ, pipes: Iterable[PipeCents]) -> tuple[CelesteBeats, ...]:
    """Every pipe of a celeste that was heard, and whose partner was.

    Parameters
    ----------
    organ : Organ
    pipes : iterable of PipeCents
        Each pipe once, against its own target.

    Returns
    -------
    tuple of CelesteBeats
        In the order of `pipes`, as in the air that the celeste was heard in.
    """
    heard = {p.pipe: p for p in pipes}
    found = []
    for celeste in heard.values():
        other = partner_pipe(organ, celeste.pipe)
        partner = None if other is None else heard.get(other)
        if partner is None:
            continue
        air = celeste.air_celsius
        # what the partner is off is taken to be the same in the celeste's air
        partner_hz = target_hz(organ, partner.pipe, air) * ratio_of_cents(partner.cents)
        own_hz = target_hz(organ, celeste.pipe, air) * ratio_of_cents(celeste.cents)
        due_hz = celeste_target_hz(organ, celeste.pipe, partner_hz)
        found.append(
            CelesteBeats(
                celeste.pipe,
                partner.pipe,
                own_hz - partner_hz,
                due_hz - partner_hz,
                cents_of_ratio(own_hz / due_hz),
                hypot(celeste.sigma_cents, partner.sigma_cents),
            )
        )
    return tuple(found)


def beside_partners(organ: Organ, pipes: Iterable[PipeCents]) -> tuple[PipeCents, ...]:
    """The same pipes, those of celestes against their partners as heard.

    A celeste whose partner was not heard stays against its nominal pitch.
    """
    each = tuple(pipes)
    beside = {b.pipe: b for b in celeste_beats(organ, each)}
    return tuple(
        replace(p, cents=beside[p.pipe].cents, sigma_cents=beside[p.pipe].sigma_cents)
        if p.pipe in beside
        else p
        for p in each
    )
