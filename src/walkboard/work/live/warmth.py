"""How warm a hand leaves a pipe and how fast it cools: usual values, and those learned."""

from __future__ import annotations

from collections.abc import Iterable

from walkboard.book.records import KeptSettling
from walkboard.condition.settling.forecast import Warmth
from walkboard.condition.settling.learned import PastSettling, learn_warmth
from walkboard.organ.model import Organ, TunedBy

_ENOUGH = 5  # pipes of a rank from which it is treated separately from its kind; chosen
# Warmth left by a hand or a tool, by tuning device: common practice, no source. A spring or a cone
# is reached with a tool; a stopper is held in the hand.
_OFFSET_CENTS = {
    TunedBy.SPRING: 0.2,
    TunedBy.CONE: 3.0,
    TunedBy.SLIDE: 5.0,
    TunedBy.ROLL: 3.0,
    TunedBy.SHADE: 3.0,
    TunedBy.EARS: 4.0,
    TunedBy.CAP: 8.0,
    TunedBy.STOPPER: 8.0,
}


def usual_warmth(tuned_by: TunedBy) -> Warmth:
    """What to expect of pipes with this tuning device before any was heard settling."""
    return Warmth(tau_s=50.0, spread=0.6, offset_cents=_OFFSET_CENTS[tuned_by])


def learned_warmth(
    organ: Organ, everywhere: Iterable[KeptSettling], here: Iterable[KeptSettling]
) -> dict[tuple[str, TunedBy], Warmth]:
    """What pipes heard settling show about each rank, and each tuning device in it.

    Parameters
    ----------
    organ : Organ
    everywhere : iterable of KeptSettling
        Settlings of every organ in the book: they show how a kind of tuning device behaves.
    here : iterable of KeptSettling
        Settlings of this organ: five or more in a rank show how that rank behaves.

    Returns
    -------
    dict of (rank id, TunedBy) to Warmth
        For ranks with any data; for the others use `usual_warmth`.
    """
    by_kind = [_past(one, one.tuned_by) for one in everywhere]
    by_rank: dict[tuple[str, str], list[PastSettling]] = {}
    for one in here:
        name = one.pipe.rank, one.tuned_by
        by_rank.setdefault(name, []).append(_past(one, one.pipe.rank))
    found = {}
    for rank in organ.ranks:
        for tuned_by in dict.fromkeys(part.tuned_by for part in rank.parts_used):
            kind, usual = tuned_by.value, usual_warmth(tuned_by)
            warmth = learn_warmth((p for p in by_kind if p.kind == kind), usual).get(kind)
            own = by_rank.get((rank.id, kind), [])
            if len(own) >= _ENOUGH:
                warmth = learn_warmth(own, warmth or usual)[rank.id]
            if warmth is not None:
                found[rank.id, tuned_by] = warmth
    return found


def _past(one: KeptSettling, kind: str) -> PastSettling:
    return PastSettling(
        kind, one.log_tau, one.log_tau_sigma, one.offset_cents, one.offset_sigma_cents
    )
