"""Celestes: which rank each beats against, and where it should be relative to that rank today.

A celeste is tuned against its partner, not to the organ's pitch: if the partner is 3 cents flat
today and stays so, a celeste at its nominal pitch would beat too fast. Common practice, no source.
"""

from __future__ import annotations

from walkboard.errors import InputError
from walkboard.organ.model import Organ, PipeRef, Rank


def partner_of(organ: Organ, rank: Rank) -> Rank | None:
    """The rank that a celeste beats against.

    Parameters
    ----------
    organ : Organ
    rank : Rank
        A celeste.

    Returns
    -------
    Rank or None
        The one that the description names; else a flue of its division at its pitch, preferably of
        its family and on its chest. None if the division has no such rank.
    """
    if rank.celeste is not None and rank.celeste.partner is not None:
        return organ.rank(rank.celeste.partner)
    pitch = rank.multiples[0][1]
    there = [
        other
        for other in organ.ranks
        if other.division == rank.division
        and other.family.is_flue
        and not other.is_celeste
        and not other.breaks_back
        and other.multiples[0][1] == pitch
    ]
    return min(
        there, key=lambda r: (r.family is not rank.family, r.chest != rank.chest), default=None
    )


def partner_pipe(organ: Organ, pipe: PipeRef) -> PipeRef | None:
    """The pipe that a pipe of a celeste beats against: the one its key sounds at the same pitch.

    None if the rank is not a celeste, or its partner has no pipe at that pitch.
    """
    rank = organ.rank(pipe.rank)
    partner = partner_of(organ, rank) if rank.is_celeste else None
    if partner is None:
        return None
    number = partner.number_at(rank.key_of(pipe.number))
    if number is None or partner.multiple_of(number) != rank.multiple_of(pipe.number):
        return None
    return PipeRef(partner.id, number)


def celeste_target_hz(organ: Organ, pipe: PipeRef, partner_hz: float) -> float:
    """Where a pipe of a celeste should be, given its partner's measured pitch [Hz].

    Parameters
    ----------
    organ : Organ
    pipe : PipeRef
        A pipe of a celeste.
    partner_hz : float
        Frequency of the partner's pipe at the same key [Hz].

    Raises
    ------
    InputError
        If the pipe's rank is not a celeste.
    """
    rank = organ.rank(pipe.rank)
    if rank.celeste is not None:
        return partner_hz + rank.celeste.offset_hz(rank.key_of(pipe.number), partner_hz)
    if rank.celeste_beats_hz is not None:
        return partner_hz + rank.celeste_beats_hz
    raise InputError(
        f"The rank {rank.id} is not a celeste.", fix="Give it celeste in the description."
    )
