"""How an organ is usually used: which keys are played, and which stops are drawn.

Which keys: the table `ordinary_use.csv`, derived from four-part chorales by
`builders/use_of_keys.py`. Which stops: how often a rank of its kind is drawn, common practice, no
source. The tuner may say what the organ is mostly used for; hymns are the default. An event's own
music replaces all this.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import resources
from types import MappingProxyType

import numpy as np

from walkboard.condition.kinds import Role
from walkboard.organ.model import Rank
from walkboard.planning.arrays import FloatArray
from walkboard.planning.value.cost import LIMITS as COST
from walkboard.planning.value.layout import Layout

_KEYS = 128  # MIDI numbers
PEDAL_KEYS = 40  # a division with fewer keys is a pedal: manuals have 44 or more, pedals 25 to 32


class Purpose(StrEnum):
    """What the organ is mostly used for."""

    HYMNS = "hymns"
    RECITAL = "recital"
    ACCOMPANIMENT = "accompaniment"
    LESSONS = "lessons"


@dataclass(frozen=True, slots=True)
class Limits:
    """Constants of ordinary use.

    Attributes
    ----------
    least_use : float
        Use of a key absent from the table [-].
    key_power : float
        Exponent of the table's share of the time in the use [-].
    drawn_power : float
        Exponent of how often the rank is drawn in the use [-].
    recital_table : float
        Share of the chorales' table in recital literature; the rest is spread over the keyboard.
    """

    least_use: float = 0.05  # fitted by bench ear_fit; flat from 0 to 0.15
    key_power: float = 0.7  # fitted by bench ear_fit; flat from 0.5 to 1
    drawn_power: float = 0.5  # fitted by bench ear_fit; flat from 0.25 to 1
    recital_table: float = 0.6  # chosen: literature uses the ends of the keyboard more than hymns


LIMITS = Limits()

# Share of the time in which a rank of its kind is drawn, by the organ's use [-]. Common practice,
# no source.
_Shares = Mapping[str, float]
_DRAWN: Mapping[Purpose, _Shares] = MappingProxyType(
    {
        Purpose.HYMNS: MappingProxyType(
            {
                "open 8, 4": 0.9, "open 2": 0.65, "soft 8, 4": 0.7, "soft 2": 0.5, "16": 0.3,
                "mutation": 0.35, "mixture": 0.45, "reed": 0.35, "celeste": 0.1,
                "pedal 16, 8": 0.9, "pedal upper": 0.6, "pedal reed": 0.35,
            }
        ),
        Purpose.RECITAL: MappingProxyType(
            {
                "open 8, 4": 0.8, "open 2": 0.7, "soft 8, 4": 0.7, "soft 2": 0.5, "16": 0.45,
                "mutation": 0.45, "mixture": 0.6, "reed": 0.55, "celeste": 0.2,
                "pedal 16, 8": 0.9, "pedal upper": 0.7, "pedal reed": 0.55,
            }
        ),
        Purpose.ACCOMPANIMENT: MappingProxyType(
            {
                "open 8, 4": 0.6, "open 2": 0.3, "soft 8, 4": 0.9, "soft 2": 0.4, "16": 0.2,
                "mutation": 0.25, "mixture": 0.2, "reed": 0.3, "celeste": 0.35,
                "pedal 16, 8": 0.9, "pedal upper": 0.3, "pedal reed": 0.15,
            }
        ),
        Purpose.LESSONS: MappingProxyType(
            {
                "open 8, 4": 0.85, "open 2": 0.6, "soft 8, 4": 0.85, "soft 2": 0.5, "16": 0.2,
                "mutation": 0.35, "mixture": 0.35, "reed": 0.3, "celeste": 0.1,
                "pedal 16, 8": 0.95, "pedal upper": 0.5, "pedal reed": 0.25,
            }
        ),
    }
)  # fmt: skip


def is_pedal(layout: Layout) -> FloatArray:
    """1 for each pipe of a pedal division, else 0; (pipes,)."""
    few = np.array([float(d.keys < PEDAL_KEYS) for d in layout.organ.divisions])
    pedal: FloatArray = few[layout.division_of]
    return pedal


def key_use(layout: Layout, purpose: Purpose = Purpose.HYMNS) -> FloatArray:
    """Usual use of each pipe's key, 1 for the most used key; (pipes,).

    Parameters
    ----------
    layout : Layout
    purpose : Purpose
    """
    manual, pedal = _tables()
    semitone = np.clip(layout.semitone, 0, _KEYS - 1)
    share = np.where(is_pedal(layout) > 0.0, pedal[semitone], manual[semitone])
    if purpose is Purpose.RECITAL:
        share = LIMITS.recital_table * share + (1.0 - LIMITS.recital_table) * _spread(layout)
    use: FloatArray = LIMITS.least_use + (1.0 - LIMITS.least_use) * share**LIMITS.key_power
    return use


def drawn_use(layout: Layout, purpose: Purpose = Purpose.HYMNS) -> FloatArray:
    """Weight of each pipe from how often its rank is drawn, at most 1; (pipes,)."""
    pedal = {d.id for d in layout.organ.divisions if d.keys < PEDAL_KEYS}
    shares = _DRAWN[purpose]
    of_rank = np.array(
        [
            shares[_kind(rank, layout.role[rank.id], pedal=rank.division in pedal)]
            for rank in layout.organ.ranks
        ]
    )
    use: FloatArray = of_rank[layout.rank_of] ** LIMITS.drawn_power
    return use


def played_range(layout: Layout) -> FloatArray:
    """1 for each pipe in the keys where a stray counts, else 0; (pipes,)."""
    low = np.where(is_pedal(layout) > 0.0, 0, COST.lowest_key)
    inside: FloatArray = ((layout.semitone >= low) & (layout.semitone <= COST.highest_key)).astype(
        np.float64
    )
    return inside


def _kind(rank: Rank, role: Role, *, pedal: bool) -> str:
    multiple = float(rank.multiples[0][1])
    if pedal:
        if role is Role.REED:
            return "pedal reed"
        return "pedal 16, 8" if multiple <= 1.0 and role is Role.UNISON else "pedal upper"
    if role is not Role.UNISON:
        return role.value
    if multiple < 1.0:
        return "16"
    sort = "open" if rank.family.value == "open" else "soft"
    return f"{sort} 8, 4" if multiple <= 2.0 else f"{sort} 2"


def _spread(layout: Layout) -> FloatArray:
    """Use over the whole keyboard, 1 in the middle and a half at its ends; (pipes,)."""
    keys = np.array([d.keys for d in layout.organ.divisions])[layout.division_of]
    lowest = np.array([d.lowest.semitone for d in layout.organ.divisions])[layout.division_of]
    middle = np.maximum(0.5 * (keys - 1), 1e-9)
    aside = np.minimum(np.abs(layout.semitone - lowest - middle) / middle, 1.0)
    spread: FloatArray = 1.0 - 0.5 * aside**2
    return spread


@cache
def _rows() -> tuple[tuple[str, int, float], ...]:
    text = resources.files("walkboard.planning.value").joinpath("ordinary_use.csv").read_text()
    lines = [line.split(",") for line in text.splitlines() if line and not line.startswith("#")]
    return tuple((kind, int(number), int(value) / 1000.0) for kind, number, value in lines[1:])


@cache
def _tables() -> tuple[FloatArray, FloatArray]:
    manual, pedal = np.zeros(_KEYS), np.zeros(_KEYS)
    for kind, number, value in _rows():
        (manual if kind == "manual" else pedal)[number] = value
    return manual, pedal
