"""The frequency of a key, and the pitches that organs have been tuned to."""

from __future__ import annotations

from dataclasses import dataclass

from walkboard.errors import UnknownNameError
from walkboard.scales.keys import Key
from walkboard.scales.temperament import Temperament

A4 = Key(69)


def key_hz(key: Key, a4_hz: float, temperament: Temperament) -> float:
    """8′ frequency of a key [Hz]; A4 is `a4_hz` in every temperament.

    Parameters
    ----------
    key : Key
    a4_hz : float
        Frequency of A4 [Hz].
    temperament : Temperament

    Raises
    ------
    ValueError
        If `a4_hz` is not positive.

    Notes
    -----
    f = a4 · 2^(cents/1200), cents from A4 in the temperament. Definition; ISO 16:1975 gives
    A4 = 440 Hz.
    """
    if not a4_hz > 0.0:
        raise ValueError(f"the frequency of A4 must be positive, not {a4_hz!r} Hz")
    return float(a4_hz * 2.0 ** (temperament.interval_cents(A4, key) / 1200.0))


@dataclass(frozen=True, slots=True)
class PitchStandard:
    """A historical pitch: agreed or measured.

    Attributes
    ----------
    name : str
    a4_hz : float
        A4 [Hz].
    celsius : float or None
        The air temperature stated with it [°C]; None if the source states none.
    source : str
    """

    name: str
    a4_hz: float
    celsius: float | None
    source: str


_EB = "Encyclopaedia Britannica 1911, Pitch, Musical (A. J. Hipkins)"
_MENDEL = "Ellis and Mendel, Studies in the History of Musical Pitch, 1968, introduction"

# Whether the French law meant 15 °C is disputed: the introduction of Ellis and Mendel calls it an
# error of the Philharmonic committee; the encyclopaedia and most writers give it.
STANDARDS = (
    PitchStandard("iso 16", 440.0, None, "ISO 16:1975, first ISO/R 16:1955"),
    PitchStandard("diapason normal", 435.0, 15.0, _EB),
    PitchStandard("diapason normal fork", 435.45, 15.0, _EB),
    PitchStandard("new philharmonic", 439.0, 20.0, _MENDEL),
    PitchStandard("old philharmonic", 452.5, None, _EB),
    PitchStandard("philharmonic fork 1874", 454.0, None, _EB),
    PitchStandard("early philharmonic", 433.2, None, _EB),
    PitchStandard("dresden silbermann", 415.0, None, _EB),
    PitchStandard("baroque", 415.0, None, "convention, a semitone below 440 Hz"),
    PitchStandard("chorton", 466.0, None, "convention, a semitone above 440 Hz; from memory"),
)


def pitch_standard(name: str) -> PitchStandard:
    """Pitch standard of a name.

    Raises
    ------
    UnknownNameError
        If there is no such name; the message lists the known ones.
    """
    for standard in STANDARDS:
        if standard.name == name.strip().lower():
            return standard
    raise UnknownNameError(
        f"There is no pitch standard {name!r}.",
        fix=f"There are: {', '.join(s.name for s in STANDARDS)}; or give A4 in Hz.",
    )
