"""What the pipes of a rank can show: the air, the temperament, or neither."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from walkboard.organ.model import Organ, Rank


class Role(StrEnum):
    """A rank's part in the chorus."""

    UNISON = "unison"  # its multiple of the key is a power of two: 16′, 8′, 4′, 2′
    MUTATION = "mutation"  # tuned pure to its unison: 2 2/3′, 1 3/5′
    MIXTURE = "mixture"  # a row of a compound stop
    CELESTE = "celeste"  # off pitch on purpose
    REED = "reed"


def role_of(organ: Organ, rank: Rank) -> Role:
    """A rank's part: how it is built comes before its pitch.

    A row of a mixture is recognised by its breaks, or by only sounding on stops shared with other
    ranks (the rows of a Cornet).
    """
    if not rank.family.is_flue:
        return Role.REED
    if rank.is_celeste:
        return Role.CELESTE
    if rank.breaks_back or _only_in_compounds(organ, rank):
        return Role.MIXTURE
    return Role.UNISON if is_octave(rank, 1) else Role.MUTATION


def roles(organ: Organ) -> Mapping[str, Role]:
    """Part of every rank, by its id."""
    return MappingProxyType({rank.id: role_of(organ, rank) for rank in organ.ranks})


def is_octave(rank: Rank, number: int) -> bool:
    """Whether a pipe is whole octaves from its key, and so shows the temperament."""
    multiple = rank.multiple_of(number)
    return _is_power_of_two(multiple.numerator) and _is_power_of_two(multiple.denominator)


def _is_power_of_two(number: int) -> bool:
    return number > 0 and number & (number - 1) == 0


def _only_in_compounds(organ: Organ, rank: Rank) -> bool:
    drawn = [
        {plays.rank for plays in stop.plays}
        for stop in organ.stops
        if any(plays.rank == rank.id for plays in stop.plays)
    ]
    return bool(drawn) and all(len(ranks) > 2 for ranks in drawn)
