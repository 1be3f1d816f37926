"""The hidden truth of the invented hall: every pipe's true pitch and sound.

Sizes are common practice (see `Habits`), invented for a hall that nobody has tuned for a season;
the effect of air on the flues is physics, through the organ's own targets.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from walkboard.demo.synthesiser import PipeVoice, VoiceKind
from walkboard.organ.model import Family, Organ, PipeRef, Rank, TunedBy
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio, ratio_of_cents

# An unheated hall in early spring: the boxes are warmer, the Pedal is at the outer wall.
AIR_CELSIUS = {"great": 17.6, "swell": 18.4, "positive": 17.3, "solo": 18.7, "pedal": 16.9}
USUAL_CELSIUS = 17.6  # for a division not named above

VOICED = {  # ranks that sound different from the usual pipe of their family
    "swell.gamba8": VoiceKind.STRING,
    "swell.celeste8": VoiceKind.STRING,
    "swell.flute4": VoiceKind.FLUTE,
    "solo.flute8": VoiceKind.FLUTE,
}
_OF_FAMILY = {
    Family.OPEN: VoiceKind.OPEN,
    Family.STOPPED: VoiceKind.STOPPED,
    Family.CHIMNEY: VoiceKind.CHIMNEY,
    Family.REED: VoiceKind.REED,
}
_LEVEL_DB = {
    VoiceKind.OPEN: -24.0,
    VoiceKind.FLUTE: -27.0,
    VoiceKind.STOPPED: -30.0,
    VoiceKind.CHIMNEY: -29.0,
    VoiceKind.STRING: -29.0,
    VoiceKind.REED: -21.0,
}


@dataclass(frozen=True, slots=True)
class Habits:
    """How pipes of the hall go out of tune.

    Attributes
    ----------
    reeds_set_celsius : float
        The air when the reeds were last set to the flues [°C].
    flue_cents, reed_cents : float
        Scale of a pipe's own deviation, Student's t with four degrees of freedom [cents].
    rank_cents : float
        Standard deviation of the movement of whole ranks [cents].
    slip : mapping of TunedBy to float
        Share of pipes whose slide, stopper … has slipped.
    slip_cents : (float, float)
        Least and largest distance; nearly always sharp, because they slip down [cents].
    reed_stray : float
        Share of reeds that have strayed.
    reed_stray_cents : (float, float)
        Least and largest distance, either way [cents].
    """

    reeds_set_celsius: float = 20.0
    flue_cents: float = 0.7
    reed_cents: float = 1.2
    rank_cents: float = 0.4
    slip: Mapping[TunedBy, float] = field(
        default_factory=lambda: {
            TunedBy.SLIDE: 0.04,
            TunedBy.STOPPER: 0.04,
            TunedBy.CAP: 0.02,
            TunedBy.SHADE: 0.02,
            TunedBy.ROLL: 0.01,
            TunedBy.CONE: 0.005,
        }
    )
    slip_cents: tuple[float, float] = (5.0, 25.0)
    reed_stray: float = 0.12
    reed_stray_cents: tuple[float, float] = (5.0, 20.0)


USUAL_HABITS = Habits()


@dataclass(frozen=True, slots=True)
class PipeState:
    """One pipe's true state.

    Attributes
    ----------
    target_hz : float
        Its target in the true air of its division [Hz].
    voice : PipeVoice
        How it sounds; its `hz` is the truth.
    """

    target_hz: float
    voice: PipeVoice

    @property
    def cents(self) -> float:
        """True deviation from its target at the true air, + is sharp [cents]."""
        return cents_of_ratio(self.voice.hz / self.target_hz)


@dataclass(frozen=True, eq=False)
class HallState:
    """The hidden truth of a whole organ. Plain tables, so that it can be sent to another process.

    Attributes
    ----------
    air_celsius : dict of str to float
        True air of each division [°C].
    thermometer_celsius : dict of str to float
        What a thermometer in each division shows, to a tenth [°C].
    pipes : dict of PipeRef to PipeState
    """

    air_celsius: dict[str, float]
    thermometer_celsius: dict[str, float]
    pipes: dict[PipeRef, PipeState]

    def hz(self, pipe: PipeRef) -> float:
        """A pipe's true frequency [Hz]."""
        return self.pipes[pipe].voice.hz

    def cents(self, pipe: PipeRef) -> float:
        """True deviation from its target in its division's true air, + is sharp [cents]."""
        return self.pipes[pipe].cents

    def voice(self, pipe: PipeRef) -> PipeVoice:
        """How a pipe sounds."""
        return self.pipes[pipe].voice


def hall_state(organ: Organ, seed: int, *, habits: Habits = USUAL_HABITS) -> HallState:
    """The true state of every pipe of an organ.

    Parameters
    ----------
    organ : Organ
    seed : int
        Each rank draws from it by its own id, so adding a rank changes no other.
    habits : Habits
    """
    air = {d.id: AIR_CELSIUS.get(d.id, USUAL_CELSIUS) for d in organ.divisions}
    rng = np.random.default_rng([seed, 0])
    shown = {d: round(t + 0.1 * float(rng.standard_normal()), 1) for d, t in air.items()}
    pipes: dict[PipeRef, PipeState] = {}
    for rank in organ.ranks:
        rng = np.random.default_rng([seed, zlib.crc32(rank.id.encode())])
        cents = _cents(rank, habits, rng)
        level_db = _levels_db(rank, rng)
        for i in range(rank.pipes):
            pipe = PipeRef(rank.id, i + 1)
            kind = VOICED.get(rank.id, _OF_FAMILY[rank.family_of(i + 1)])
            here_celsius = air[rank.division]
            set_celsius = here_celsius if rank.family.is_flue else habits.reeds_set_celsius
            voice = PipeVoice(
                pipe,
                kind,
                target_hz(organ, pipe, set_celsius) * ratio_of_cents(float(cents[i])),
                level_db=float(level_db[i]),
                wander_cents=float(0.1 * np.exp(0.4 * rng.standard_normal())),
                attack_cents=float(rng.normal(-8.0, 6.0)),
                chiff_db=float(rng.normal(14.0, 3.0)),
                seed=int(rng.integers(2**31)),
            )
            pipes[pipe] = PipeState(target_hz(organ, pipe, here_celsius), voice)
    return HallState(air, shown, pipes)


def _cents(rank: Rank, habits: Habits, rng: np.random.Generator) -> NDArray[np.float64]:
    """Deviation of each pipe from its rank, shape (pipes,) [cents]."""
    n = rank.pipes
    reed = not rank.family.is_flue
    cents = habits.rank_cents * rng.standard_normal() + (
        habits.reed_cents if reed else habits.flue_cents
    ) * rng.standard_t(4.0, n)
    slips = [habits.slip.get(rank.tuned_by_of(number), 0.0) for number in range(1, n + 1)]
    share = habits.reed_stray if reed else np.array(slips)
    least, most = habits.reed_stray_cents if reed else habits.slip_cents
    flat = 0.5 if reed else 0.1
    strays = rng.random(n) < share
    sign = np.where(rng.random(n) < flat, -1.0, 1.0)
    moved: NDArray[np.float64] = cents + strays * sign * rng.uniform(least, most, n)
    return moved


def _levels_db(rank: Rank, rng: np.random.Generator) -> NDArray[np.float64]:
    """Level of each pipe, shape (pipes,) [dB]: its voicing, a slow curve, and the odd pipe."""
    kind = VOICED.get(rank.id, _OF_FAMILY[rank.family])
    high = np.log2(float(rank.multiple_of(1)))  # octaves above 8′: upper ranks are softer
    rows = 5.0 if rank.breaks_back else 0.0
    base = _LEVEL_DB[kind] - 1.8 * max(0.0, high) - rows + rng.standard_normal()
    place = np.linspace(0.0, 1.0, rank.pipes)
    curve = 1.5 * np.sin(np.pi * (place * rng.uniform(0.8, 2.0) + rng.random())) - 3.0 * place
    levels: NDArray[np.float64] = base + curve + rng.normal(0.0, 1.2, rank.pipes)
    return levels
