"""The target pitch of each pipe.

target = multiple × key frequency × c(T)/c(T_pitch)

with the key's frequency from A4 and the temperament. Three choices:

* Mutations and mixture rows are **pure** to the unison of their key (the multiple is a harmonic
  number), not on the temperament's fifths and thirds: the 1 3/5′ of an equally tempered organ is
  13.7 cents flat of the tempered third. Common practice, no source.
* A celeste differs from its partner as its description says: by beats a second, the same at every
  key or changing up the compass, or by cents. Equal beats at every key is the more common custom
  (C. Pykett 2024, who also describes celestes of equal intervals): 2.5 beats are 33 cents at C3 and
  4 at C6.
* A reed's target has the flues' factor: reeds do not follow the air as flues do; they are **tuned
  to the flues** as those are in that air.

The air is that of the division whose rank the pipe belongs to, even if another division borrows it.
"""

from __future__ import annotations

from functools import lru_cache

from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.model import Organ, PipeRef, Rank
from walkboard.physics.air import pitch_ratio
from walkboard.quantities import cents_of_ratio
from walkboard.scales.pitch import key_hz

COLDEST_CELSIUS, WARMEST_CELSIUS = -20.0, 50.0  # range of `walkboard.physics.air`


def target_hz(organ: Organ, pipe: PipeRef, air_celsius: float | None) -> float:
    """Frequency at which a pipe should be [Hz].

    Parameters
    ----------
    organ : Organ
    pipe : PipeRef
    air_celsius : float or None
        Air of the pipe's own division [°C]; None: the temperature of the organ's pitch.

    Raises
    ------
    UnknownNameError
        If the organ does not have that pipe.
    InputError
        If the air is colder than −20 or warmer than 50 °C.
    """
    rank = organ.rank(pipe.rank)
    if pipe.number > rank.pipes:
        raise UnknownNameError(
            f"The rank {rank.id} has no pipe {pipe.number}.", fix=f"It has 1 to {rank.pipes}."
        )
    return nominal_hz(organ, rank, pipe.number) * _ratio(
        organ.pitch_of(rank).at_celsius, air_celsius
    )


def nominal_hz(organ: Organ, rank: Rank, number: int) -> float:
    """Frequency at which a pipe should be, in the air of the organ's pitch [Hz].

    Parameters
    ----------
    organ : Organ
    rank : Rank
        One of its ranks.
    number : int
        Number of the pipe, from 1.
    """
    key = rank.key_of(number)
    unison = key_hz(key, organ.pitch_of(rank).a4_hz, organ.temperament_of(rank))
    pure = float(rank.multiple_of(number)) * unison
    if rank.celeste is not None:
        return pure + rank.celeste.offset_hz(key, pure)
    return pure + (rank.celeste_beats_hz or 0.0)


def cents_off(hz: float, organ: Organ, pipe: PipeRef, air_celsius: float | None) -> float:
    """How far a frequency is from a pipe's target [cents], + is sharp.

    Parameters
    ----------
    hz : float
        The measured frequency [Hz].
    organ, pipe, air_celsius
        As in `target_hz`.

    Raises
    ------
    UnknownNameError, InputError
        As for `target_hz`.
    ValueError
        If `hz` is not positive.
    """
    return cents_of_ratio(hz / target_hz(organ, pipe, air_celsius))


@lru_cache(maxsize=64)  # called once per pipe, for the few airs of a visit
def _ratio(pitch_celsius: float, air_celsius: float | None) -> float:
    if air_celsius is None:
        return 1.0
    if not COLDEST_CELSIUS <= air_celsius <= WARMEST_CELSIUS:
        raise InputError(
            f"No organ has air of {air_celsius:g} °C.",
            fix="Give °C from -20 to 50; did you mean °F?",
        )
    return pitch_ratio(pitch_celsius, air_celsius)
