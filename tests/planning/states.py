"""Organs in a usual state, for plans."""

from __future__ import annotations

import numpy as np

from walkboard.condition.state import PipeCents
from walkboard.organ.model import Organ


def a_state(
    organ: Organ,
    seed: int,
    *,
    shift_cents: float = 0.0,
    reeds_cents: float = -6.0,
    strays: float = 0.06,
    share_heard: float = 1.0,
) -> list[PipeCents]:
    """Readings of an organ whose flues are off by a shift and whose reeds have stayed behind."""
    rng = np.random.default_rng(seed)
    moved = {rank.id: rng.normal(0.0, 0.6) for rank in organ.ranks}
    heard = []
    for pipe in organ.pipes():
        if rng.random() > share_heard:
            continue
        rank = organ.rank(pipe.rank)
        cents = moved[rank.id]
        cents += rng.normal(0.0, 1.2) if rank.family.is_flue else rng.normal(reeds_cents, 3.0)
        if rng.random() < strays:
            cents += rng.uniform(4.0, 25.0)
        level = -26.0 + rng.normal(0.0, 4.0) + (0.0 if rank.family.is_flue else 5.0)
        air = organ.pitch.at_celsius
        heard.append(PipeCents(pipe, shift_cents + cents, 0.1, level, air))
    return heard
