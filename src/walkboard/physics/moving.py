"""Which way to move the tuning device, and how far, to bring a pipe to pitch.

The directions are common practice (slide up is flatter, spring down is sharper: also the
Encyclopedia Americana, article on tuning, for reeds). Millimetres are given only where a formula
and its dimensions are known; otherwise the ear decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from walkboard.physics.flue import slide_mm_for_cents, stopper_mm_for_cents
from walkboard.physics.reed import IDEAL_EXPONENT, MEASURED_EXPONENT, tongue_mm_for_cents


class Device(StrEnum):
    """What is moved to tune a pipe, in the words of the organ description."""

    SLIDE = "slide"
    CONE = "cone"
    ROLL = "roll"
    STOPPER = "stopper"
    CAP = "cap"
    EARS = "ears"
    SHADE = "shade"
    SPRING = "spring"


class Sense(StrEnum):
    """Which way the pitch should go."""

    SHARPER = "sharper"
    FLATTER = "flatter"


@dataclass(frozen=True, slots=True)
class Movement:
    """What to do to a pipe.

    Attributes
    ----------
    device : Device
    sense : Sense
    words : str
        What the hand does, as ``slide down``.
    least_mm, most_mm : float or None
        How far, as a positive distance [mm]; the two differ if the formula is known only within
        limits (reeds). None if no formula applies.
    is_usual : bool
        Whether the distance is for a typical pipe because this one was not measured.
    """

    device: Device
    sense: Sense
    words: str
    least_mm: float | None = None
    most_mm: float | None = None
    is_usual: bool = False

    def __post_init__(self) -> None:
        if (self.least_mm is None) != (self.most_mm is None):
            raise ValueError("a movement has both distances or neither")

    @property
    def distance(self) -> str:
        """The distance in words; empty where unknown.

        As ``about 0.45 mm``, ``0.06 to 0.12 mm`` or ``0.04 to 0.15 mm on a usual tongue``.
        """
        if self.least_mm is None or self.most_mm is None:
            return ""
        least, most = _written(self.least_mm), _written(self.most_mm)
        if least != most:
            return f"{least} to {most} mm{' on a usual tongue' if self.is_usual else ''}"
        return f"{least} mm" if least.startswith("under") else f"about {least} mm"


# Common practice, no source but where the module says so. Each pair: to sharpen, to flatten.
_WORDS = MappingProxyType(
    {
        Device.SLIDE: ("slide down", "slide up"),
        Device.CONE: ("open the top with the cone", "close the top with the cup"),
        Device.ROLL: ("roll the tongue of the slot down", "roll the tongue of the slot up"),
        Device.STOPPER: ("stopper in", "stopper out"),
        Device.CAP: ("cap down", "cap up"),
        Device.EARS: ("bend the ears away from the mouth", "bend the ears towards the mouth"),
        Device.SHADE: ("lift the shade off the top", "lower the shade over the top"),
        Device.SPRING: ("spring down", "spring up"),
    }
)


def movement(device: str, cents: float, *, hz: float, speed_m_s: float) -> Movement:
    """What to do to a flue, or to a reed whose tongue was not measured.

    Parameters
    ----------
    device : str
        One of `Device`.
    cents : float
        Wanted change of pitch [cents], + is sharper; not 0.
    hz : float
        Where the pipe sounds now [Hz].
    speed_m_s : float
        Speed of sound in it [m/s].

    Raises
    ------
    ValueError
        When the device is unknown or the change is 0 or no number.

    Notes
    -----
    Distances for slide (half wave), stopper and cap (quarter wave): Ising 1971, as in
    `walkboard.physics.flue`. A capped pipe with a chimney moves by less than is said here.
    """
    kind, sense, words = _sense_of(device, cents)
    distance = None
    if kind is Device.SLIDE:
        distance = abs(slide_mm_for_cents(hz, cents, speed_m_s))
    elif kind in {Device.STOPPER, Device.CAP}:
        distance = abs(stopper_mm_for_cents(hz, cents, speed_m_s))
    return Movement(kind, sense, words, distance, distance)


def spring_movement(cents: float, *, tongue_mm: float, exponent: float | None = None) -> Movement:
    """What to do to the spring of a reed whose tongue is known.

    Parameters
    ----------
    cents : float
        Wanted change of pitch [cents], + is sharper; not 0.
    tongue_mm : float
        Speaking length of the tongue now [mm].
    exponent : float, optional
        Exponent of this pipe, 1 to 2, if it was learned; else both ends give the two distances.

    Raises
    ------
    ValueError
        When the change is 0 or no number, or the exponent or length is out of range.

    Notes
    -----
    f ∝ L⁻ⁿ as in `walkboard.physics.reed`. Tongue and resonator act as one: far from its pitch a
    reed wants its resonator set as well.
    """
    kind, sense, words = _sense_of(Device.SPRING, cents)
    exponents = (IDEAL_EXPONENT, MEASURED_EXPONENT) if exponent is None else (exponent, exponent)
    distances = sorted(abs(tongue_mm_for_cents(tongue_mm, cents, n)) for n in exponents)
    return Movement(kind, sense, words, distances[0], distances[1])


def spring_movement_between(
    cents: float, *, least_mm: float, most_mm: float, is_usual: bool = False
) -> Movement:
    """What to do to the spring of a reed whose tongue is known only within limits.

    Parameters
    ----------
    cents : float
        Wanted change of pitch [cents], + is sharper; not 0.
    least_mm, most_mm : float
        Between what lengths the speaking part of its tongue lies [mm].
    is_usual : bool
        Whether these are those of a usual reed (`physics.reed.usual_tongue_mm`).

    Raises
    ------
    ValueError
        When the change is 0 or no number, or a length is not positive.

    Notes
    -----
    The shorter tongue by n = 2 moves least, the longer by n = 1 most; see `spring_movement`.
    """
    kind, sense, words = _sense_of(Device.SPRING, cents)
    least = abs(tongue_mm_for_cents(least_mm, cents, IDEAL_EXPONENT))
    most = abs(tongue_mm_for_cents(most_mm, cents, MEASURED_EXPONENT))
    return Movement(kind, sense, words, least, most, is_usual)


def _sense_of(device: str, cents: float) -> tuple[Device, Sense, str]:
    kind = Device(device)
    sharper, flatter = _WORDS[kind]
    if cents > 0.0:
        return kind, Sense.SHARPER, sharper
    if cents < 0.0:
        return kind, Sense.FLATTER, flatter
    raise ValueError(f"there is nothing to move for a change of {cents!r} cents")


def _written(mm: float) -> str:
    """Two figures, as a tuner can use them; hundredths of a millimetre at the finest."""
    if mm < 0.005:
        return "under 0.01"
    return f"{mm:.2f}" if mm < 1.0 else f"{mm:.1f}" if mm < 10.0 else f"{mm:.0f}"
