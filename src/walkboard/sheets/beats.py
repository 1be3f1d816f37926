"""How fast a pipe beats against the reference stop drawn with it.

Both sound on one key. Their lowest coinciding partials have the numbers of their pitch ratio: a 2⅔′
against an 8′ beats at its own fundamental and the 8′'s third partial.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from walkboard.condition.kinds import Role, role_of
from walkboard.organ.celestes import celeste_target_hz, partner_of
from walkboard.organ.model import Family, Organ, PipeRef, Rank
from walkboard.organ.targets import target_hz
from walkboard.planning.plan import PlanItem, Reference
from walkboard.quantities import ratio_of_cents

_CELESTE_ROUNDS = 4  # each is a hundredth of the last
HIGHEST_PARTIAL = 8  # beats of higher ones are too faint for tuning; common practice, no source


@dataclass(frozen=True, slots=True)
class Beats:
    """Beats a second against the reference pipe [Hz]: now, and at its target."""

    now_hz: float
    target_hz: float


def reference_in(organ: Organ, rank: Rank) -> Rank | None:
    """The rank that a rank is tuned to: an open 4′ of its division, else an open 8′; else None.

    A celeste is tuned to its partner. None for the reference itself.
    """
    if rank.is_celeste:
        return partner_of(organ, rank)
    there = [
        other
        for other in organ.ranks
        if other.division == rank.division
        and other.family is Family.OPEN
        and role_of(organ, other) is Role.UNISON
        and other.multiples[0][1] in (1, 2)
    ]
    best = max(there, key=lambda r: (r.multiples[0][1], r.pipes), default=None)
    if best is None or best.id == rank.id:
        others = [r for r in there if r.id != rank.id and r.multiples[0][1] == 1]
        return others[0] if best is not None and others else None
    return best


def beats_against(
    organ: Organ, item: PlanItem, reference: Rank, pitch: Reference | None
) -> Beats | None:
    """Beat rate of a pipe of the worklist against the reference pipe on its key.

    Parameters
    ----------
    organ : Organ
    item : PlanItem
    reference : Rank
        Taken to be where the plan tunes its division; the partner of a celeste where its pipe's
        target says that it is.
    pitch : Reference or None
        Reference of that division; None for the organ's own pitch.

    Returns
    -------
    Beats or None
        None if the reference has no pipe on that key, or no audible partials coincide.
    """
    rank = organ.rank(item.pipe.rank)
    now_hz = item.target_hz * ratio_of_cents(item.cents)
    if rank.is_celeste:
        partner_hz = item.target_hz
        for _ in range(_CELESTE_ROUNDS):  # back from the target to the partner it was set against
            due_hz = celeste_target_hz(organ, item.pipe, partner_hz) - partner_hz
            partner_hz = item.target_hz - due_hz
        return Beats(abs(now_hz - partner_hz), abs(item.target_hz - partner_hz))
    number = reference.number_at(rank.key_of(item.pipe.number))
    if number is None:
        return None
    ratio = Fraction(rank.multiple_of(item.pipe.number)) / Fraction(reference.multiple_of(number))
    own, other = ratio.denominator, ratio.numerator
    if max(own, other) > HIGHEST_PARTIAL:
        return None
    air = organ.pitch.at_celsius if pitch is None else pitch.air_celsius
    shift = 0.0 if pitch is None else pitch.shift_cents
    stands_hz = target_hz(organ, PipeRef(reference.id, number), air) * ratio_of_cents(shift)
    return Beats(
        abs(own * now_hz - other * stands_hz), abs(own * item.target_hz - other * stands_hz)
    )
