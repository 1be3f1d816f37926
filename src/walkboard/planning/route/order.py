"""The working order: reference rank first, flues by chest, then the ranks tuned to them.

Celestes come after their partners, mixtures and reeds after the flues of their division. Within a
rank the pipes follow their order on the chest, if the description gives it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fractions import Fraction

from walkboard.condition.kinds import Role, role_of
from walkboard.organ.kinds import PipeOrder
from walkboard.organ.model import Family, Organ, Rank
from walkboard.planning.route.ways import Leg, Round, Visit
from walkboard.planning.value.pipe_offset import PipeOffset
from walkboard.scales.keys import Key

_PRINCIPALS = ("principal", "octave", "prestant", "diapason")
_FEWEST_MANUAL_KEYS = 40
BEARINGS_KEYS = (53, 65)  # F3 to F4, where beats are slow enough to count
_LATER = {Role.UNISON: 0, Role.MUTATION: 0, Role.CELESTE: 1, Role.MIXTURE: 2, Role.REED: 3}


def reference_rank(organ: Organ) -> Rank | None:
    """The rank the others are tuned to: a 4′ Principal or Octave of the main division.

    The main division is the manual with most open unison pipes. 4′ because its partials are clear
    and it is in the middle (common practice, no source). Failing that, any open 4′ of the main
    division, its open 8′, or none.
    """
    unisons: dict[str, list[Rank]] = {}
    for rank in organ.ranks:
        manual = organ.division(rank.division).keys >= _FEWEST_MANUAL_KEYS
        if manual and _is_open_in_middle(rank) and role_of(organ, rank) is Role.UNISON:
            unisons.setdefault(rank.division, []).append(rank)
    if not unisons:
        return None
    main = max(unisons, key=lambda division: sum(rank.pipes for rank in unisons[division]))

    def liking(rank: Rank) -> tuple[int, bool, int]:
        pitch = {Fraction(2): 2, Fraction(1): 1}.get(rank.multiples[0][1], 0)
        return pitch, any(name in rank.name.casefold() for name in _PRINCIPALS), rank.pipes

    best = max(unisons[main], key=liking)
    return best if liking(best)[0] else None


def _is_open_in_middle(rank: Rank) -> bool:
    """Whether its pipes are open where bearings are set, however its bass is built."""
    middle = [rank.number_at(Key(semitone)) for semitone in BEARINGS_KEYS]
    return all(n is not None and rank.family_of(n) is Family.OPEN for n in middle)


def place_on_chest(rank: Rank, number: int) -> float:
    """A pipe's place along its chest, from left to right; only the order counts.

    C and C♯ sides run in whole tones: with the large pipes outside upward on the left and downward
    on the right, with the large ones in the middle the other way round. Thirds are in three or four
    such runs.
    """
    semitone = rank.key_of(number).semitone
    order = rank.chest_layout.order
    if order in {PipeOrder.SIDES, PipeOrder.SIDES_INWARD}:
        left = (semitone - rank.from_key.semitone) % 2 == 0
        upward = left if order is PipeOrder.SIDES else not left
        return (0.0 if left else 1000.0) + (semitone if upward else -semitone)
    steps = {PipeOrder.MINOR_THIRDS: 3, PipeOrder.MAJOR_THIRDS: 4}.get(order) if order else None
    if steps is not None:
        run = (semitone - rank.from_key.semitone) % steps
        return 1000.0 * run + (semitone if run % 2 == 0 else -semitone)
    return float(semitone)


def visit_of(offset: PipeOffset) -> Visit:
    """The visit in which a pipe is tuned."""
    return visit_of_rank(offset.rank, offset.role)


def visit_of_rank(rank: Rank, role: Role) -> Visit:
    """The visit in which a rank is tuned."""
    rounds = {
        Role.REED: Round.REEDS,
        Role.MIXTURE: Round.MIXTURES,
        Role.CELESTE: Round.CELESTES,
    }
    return Visit(rounds.get(role, Round.FLUES), rank.chest)


def in_order(
    chosen: Collection[PipeOffset], legs: Sequence[Leg], reference: Rank | None
) -> tuple[PipeOffset, ...]:
    """The chosen pipes in working order.

    Parameters
    ----------
    chosen : collection of PipeOffset
    legs : sequence of Leg
        The way through the case.
    reference : Rank or None
        The rank that comes first in its chest.

    Notes
    -----
    Within a chest: the reference rank, then the farthest toe board first where boards are
    described: who reaches over a board warms its pipes, so it is tuned afterwards (common practice,
    no source). Then 8′, 4′, 2⅔′, 2′ upward and the deeper ones, open before stopped. Within a rank
    pipes are taken as they are on the chest, from left to right; where the description does not
    say, keys go upward.
    """
    place = {leg.visit: index for index, leg in enumerate(legs)}
    reference_id = reference.id if reference else None

    def key(offset: PipeOffset) -> tuple[int, bool, int, int, bool, Fraction, bool, str, float]:
        rank = offset.rank
        multiple = rank.multiples[0][1]
        return (
            place[visit_of(offset)],
            rank.id != reference_id,
            _LATER[offset.role],
            -(rank.chest_layout.toe_board or 0),
            multiple < 1,
            multiple,
            rank.family is not Family.OPEN,
            rank.id,
            place_on_chest(rank, offset.pipe.number),
        )

    return tuple(sorted(chosen, key=key))
