"""How kinds of pipe sound: the levels of their partials, their attack, wind and release.

Shapes are common practice by ear and by textbook description (stopped pipes have weak even
partials, strings and reeds many strong ones, wide flutes few); no published table is claimed. What
matters to a reading is kept exact: partial l of a pipe has l times the phase of the pipe.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from walkboard.organ.model import PipeRef

FAINTEST_DB = -90.0  # partials this far below the strongest are left out
HIGHEST_OF_RATE = 0.45  # and those above this share of the sample rate


class VoiceKind(StrEnum):
    """How a pipe makes and colours its sound."""

    OPEN = "open"
    FLUTE = "flute"
    STOPPED = "stopped"
    CHIMNEY = "chimney"
    STRING = "string"
    REED = "reed"


@dataclass(frozen=True, slots=True)
class PipeVoice:
    """One pipe to be rendered.

    Attributes
    ----------
    pipe : PipeRef
    kind : VoiceKind
    hz : float
        Its own fundamental, before wander [Hz].
    level_db : float
        Root of the summed squares of its partials, direct sound; a full-scale sine is 0 dB.
    wander_cents : float
        Root mean square of its slow movement [cents], over many holds.
    swell_db : float
        Root mean square of its slow change of level [dB].
    attack_cents : float
        Where its pitch starts, against where it settles [cents].
    chiff_db : float
        Level of the burst at its attack over its steady wind noise [dB].
    wind_db : float
        Level of its steady wind noise against its tone [dB].
    irregular_db : float
        Spread of its partials about the shape of its kind [dB].
    speaks : int
        1: its own pitch; 2, 3 …: off speech, that overtone instead; 0: dead.
    off_by_cents : float
        How far an overtone sounding alone is from its place [cents].
    seed : int
        Seed of its own irregularities, so that a pipe sounds alike each time.
    """

    pipe: PipeRef
    kind: VoiceKind
    hz: float
    level_db: float = -23.0
    wander_cents: float = 0.1
    swell_db: float = 0.1
    attack_cents: float = -12.0
    chiff_db: float = 16.0
    wind_db: float = -50.0
    irregular_db: float = 2.5
    speaks: int = 1
    off_by_cents: float = 12.0
    seed: int = 0

    def __post_init__(self) -> None:
        if not 5.0 <= self.hz <= 20_000.0:
            raise ValueError(f"a pipe's fundamental must be 5 to 20 000 Hz, not {self.hz!r}")
        if self.wander_cents < 0.0 or self.swell_db < 0.0 or self.irregular_db < 0.0:
            raise ValueError("spreads cannot be negative")
        if not 0 <= self.speaks <= 8:
            raise ValueError(f"a pipe speaks partial 1 to 8, or 0 when dead, not {self.speaks}")

    @property
    def spoken_hz(self) -> float:
        """Fundamental of what it really speaks, before wander [Hz]; its own where dead."""
        if self.speaks <= 1:
            return self.hz
        return float(self.hz * self.speaks * 2.0 ** (self.off_by_cents / 1200.0))


def partial_levels_db(kind: VoiceKind, hz: float, count: int) -> NDArray[np.float64]:
    """Shape of a kind's partials 1 to `count` at a pitch [dB], the strongest at 0; shape (count,).

    Common practice, no source; see the module.
    """
    number = np.arange(1, count + 1, dtype=np.float64)
    octaves = np.log2(number)
    frequency_hz = number * hz
    up = np.clip(np.log2(hz / 65.4), -2.0, 6.0)  # octaves above 8′ C: trebles are duller
    even = number % 2 == 0
    match kind:
        case VoiceKind.OPEN:
            level = -(7.0 + 1.3 * up) * octaves
        case VoiceKind.FLUTE:
            level = -(13.0 + 1.6 * up) * octaves
        case VoiceKind.STOPPED:
            level = -(9.0 + 1.3 * up) * octaves - 26.0 * even
        case VoiceKind.CHIMNEY:
            level = -(9.0 + 1.3 * up) * octaves - 16.0 * even
            level += 8.0 * np.exp(-(((number - 5.0) / 1.2) ** 2))
        case VoiceKind.STRING:
            level = -(4.0 + 0.9 * up) * octaves
            level[0] -= 4.0
        case VoiceKind.REED:
            formant_hz = max(750.0, 1.5 * hz)
            place = np.log2(frequency_hz / formant_hz)
            level = np.where(place < 0.0, 3.0 * place, -(7.0 + up) * place)
    level -= 10.0 * np.log10(1.0 + (40.0 / frequency_hz) ** 2)  # the lowest radiate poorly
    level -= 4.0 * np.maximum(0.0, np.log2(frequency_hz / 4000.0))  # all sounds are dull up there
    shape: NDArray[np.float64] = level - level.max()
    return shape


def partials_of(voice: PipeVoice, sample_rate: float) -> NDArray[np.complex128]:
    """Amplitudes and phases of a pipe's partials, shape (count,); summed squares are 1.

    One silent partial where even the fundamental is beyond what the sample rate can hold.
    """
    hz = voice.spoken_hz
    count = int(HIGHEST_OF_RATE * sample_rate / hz)
    if count == 0:
        return np.zeros(1, dtype=np.complex128)
    rng = np.random.default_rng(voice.seed)
    level_db = partial_levels_db(voice.kind, hz, count)
    level_db = level_db + np.clip(
        voice.irregular_db * rng.standard_normal(count), -2.5 * voice.irregular_db, None
    )
    phase = rng.uniform(0.0, 2.0 * np.pi, count)
    amplitude = np.where(level_db - level_db.max() > FAINTEST_DB, 10.0 ** (level_db / 20.0), 0.0)
    audible = np.flatnonzero(amplitude)
    amplitude = amplitude[: audible[-1] + 1] / np.sqrt(np.sum(amplitude**2))
    partials: NDArray[np.complex128] = amplitude * np.exp(1j * phase[: amplitude.size])
    return partials
