"""Four judges of how out of tune music sounds, each from its paper; all partials in pairs.

They share nothing with the plan's cost. From memory where marked so.

A. **Fluctuation strength**: Fastl & Zwicker, *Psychoacoustics*, ch. 10 (from memory):
   F = 0.008 ∫ ΔL dz/((f_mod/4 Hz) + (4 Hz/f_mod)), ΔL the depth of the envelope in each critical
   band, in dB and at most 30. Of the pairs of partials in a band each modulates the band's power by
   2ab/Σa²; pairs are added as powers, each weighed by the term in f_mod (1 at 4 Hz). A band counts
   by its share of the loudest band's loudness (power 0.3 of its intensity).
B. **Roughness**: Vassilakis 2001, thesis, UCLA (from memory), sum over pairs of
   (ab)^0.1 · 0.5 (2 min/(a + b))^3.11 (e^(−3.5 s Δf) − e^(−5.75 s Δf)),
   s = 0.24/(0.0207 f + 18.96).
C. **Beating from 0.5 to 8 Hz**: the share of the loudness in pairs that beat so:
   Σ (ab)^0.3 · 2ab/(a² + b²)/Σ a^0.6 (Helmholtz for the depth; Stevens for the power).
D. **The sourest tenth**: A and B of each chord, each in units of its mean over all chords before,
   added; mean of the tenth of the time that is the worst.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from builders.use_of_keys import Moment

from bench._ear_organs import PARTIALS, Drawn, EarOrgan

JUDGES = ("fluctuation", "roughness", "beating", "sourest")
SLOWEST_HZ, FASTEST_HZ = 0.5, 8.0
_FAINT = 10.0 ** (-45.0 / 20.0)  # partials below the loudest by more are masked
_SLOW_HZ = 32.0  # a pair further apart does not fluctuate: its weight is below 1/8
_SOURED = 0.1
# Zwicker's critical bands, upper edges [Hz] (Fastl & Zwicker, table 6.1, from memory)
_BARK_HZ = np.array(
    [
        100.0,
        200,
        300,
        400,
        510,
        630,
        770,
        920,
        1080,
        1270,
        1480,
        1720,
        2000,
        2320,
        2700,
        3150,
        3700,
        4400,
        5300,
        6400,
        7700,
        9500,
        12000,
        15500,
    ]
)
_BANDS = len(_BARK_HZ) + 1


@dataclass(frozen=True)
class Scene:
    """Every chord of the hymns in every registration, laid out pair by pair.

    Attributes
    ----------
    seconds : (chords,) array
    pipe, partial, amplitude, hz, chord : (partials,) arrays
    first, second : (pairs,) arrays of int
        Of partials, the lower first as they would stand in tune.
    """

    seconds: np.ndarray
    pipe: np.ndarray
    hz: np.ndarray
    amplitude: np.ndarray
    chord: np.ndarray
    band: np.ndarray
    first: np.ndarray
    second: np.ndarray
    rough: np.ndarray  # amplitude term of B, by pair
    deep: np.ndarray  # 2ab, by pair
    share: np.ndarray  # (ab)^0.3 2ab/(a² + b²) over the chord's Σ a^0.6, by pair
    per_hz: np.ndarray  # s of B, by pair
    power: np.ndarray  # (chords, bands) Σ a²
    loud: np.ndarray  # (chords, bands) share of the loudest band's loudness

    def judged(self, cents: np.ndarray) -> np.ndarray:
        """A, B and C of every chord with the pipes standing so; (3, chords)."""
        hz = self.hz * 2.0 ** (cents[self.pipe] / 1200.0)
        apart = np.abs(hz[self.second] - hz[self.first])
        of = self.chord[self.first]
        chords = len(self.seconds)
        reach = self.per_hz * apart
        rough = np.bincount(of, self.rough * (np.exp(-3.5 * reach) - np.exp(-5.75 * reach)), chords)
        slow = np.flatnonzero((apart > 1e-3) & (apart < _SLOW_HZ))
        rate = apart[slow]
        weight = 2.0 / (rate / 4.0 + 4.0 / rate)
        cell = of[slow] * _BANDS + self.band[self.first[slow]]
        power = self.power.ravel()
        index = self.deep[slow] * weight / power[cell]
        depth = np.sqrt(np.bincount(cell, index**2, chords * _BANDS))
        depth = np.minimum(depth, 0.9387)  # 30 dB
        level = 20.0 * np.log10((1.0 + depth) / (1.0 - depth)) * self.loud.ravel()
        fluctuation = 0.008 * 0.5 * level.reshape(chords, _BANDS).sum(axis=1)
        beats = (apart >= SLOWEST_HZ) & (apart <= FASTEST_HZ)
        beating = np.bincount(of[beats], self.share[beats], chords)
        return np.array([fluctuation, rough, beating])


@dataclass(frozen=True)
class Verdict:
    """What four judges make of a state, against the state before and the organ in tune."""

    scene: Scene
    before: np.ndarray
    in_tune: np.ndarray

    @classmethod
    def of(cls, scene: Scene, cents: np.ndarray) -> Verdict:
        """Judges for an organ that stands so before anybody works on it."""
        return cls(scene, scene.judged(cents), scene.judged(np.zeros_like(cents)))

    def removed(self, cents: np.ndarray) -> np.ndarray:
        """Share of the audible excess that is gone with the pipes standing so; (4,)."""
        time = self.scene.seconds / self.scene.seconds.sum()
        excess_before = self.before - self.in_tune
        excess = self.scene.judged(cents) - self.in_tune
        whole = excess_before @ time
        shares = 1.0 - (excess @ time) / whole
        unit = whole[:2, None]
        before, after = ((e[:2] / unit).sum(axis=0) for e in (excess_before, excess))
        sour = 1.0 - _worst(after, time) / _worst(before, time)
        return np.append(shares, sour)


def _worst(values: np.ndarray, time: np.ndarray) -> float:
    order = np.argsort(-values)
    taken = np.minimum(time[order], np.maximum(0.0, _SOURED - np.cumsum(time[order]) + time[order]))
    return float(values[order] @ taken / taken.sum())


def scene_of(
    this: EarOrgan, drawn: Sequence[Drawn], moments: Mapping[str, Sequence[Moment]]
) -> Scene:
    """The chords of each registration, by its name: four voices on the manual, the bass below."""
    organ = this.organ
    start: dict[str, int] = {}
    made = 0
    for rank in organ.ranks:
        start[rank.id] = made
        made += rank.pipes
    seconds: list[float] = []
    pipes: list[int] = []
    keys: list[float] = []
    chords: list[int] = []
    for registration in drawn:
        for moment in moments[registration.name]:
            number = len(seconds)
            seconds.append(moment.quarters)
            for ranks, played in (
                (registration.manual, moment.keys),
                (registration.pedal, (moment.bass,)),
            ):
                for rank_id in ranks:
                    rank = organ.rank(rank_id)
                    for key in played:
                        index = key - rank.from_key.semitone
                        if 0 <= index < rank.pipes:
                            hz = 440.0 * 2.0 ** ((key - 69) / 12.0)
                            pipes.append(start[rank_id] + index)
                            keys.append(hz * float(rank.multiple_of(index + 1)))
                            chords.append(number)
    pipe = np.repeat(np.array(pipes), PARTIALS)
    chord = np.repeat(np.array(chords), PARTIALS)
    partial = np.tile(np.arange(1, PARTIALS + 1), len(pipes))
    hz = np.repeat(np.array(keys), PARTIALS) * partial
    amplitude = this.amplitudes[np.array(pipes)].ravel()
    loudest = np.zeros(len(seconds))
    np.maximum.at(loudest, chord, amplitude)
    keep = amplitude > _FAINT * loudest[chord]
    order = np.flatnonzero(keep)
    order = order[np.lexsort((hz[order], chord[order]))]
    pipe, chord, hz, amplitude = pipe[order], chord[order], hz[order], amplitude[order]
    first, second = _pairs(chord, hz, pipe)
    a, b = amplitude[first], amplitude[second]
    band = np.searchsorted(_BARK_HZ, hz)
    count = len(seconds)
    power = np.bincount(chord * _BANDS + band, amplitude**2, count * _BANDS)
    power = power.reshape(count, _BANDS)
    loud = power**0.3
    loud /= loud.max(axis=1, keepdims=True)
    total = np.bincount(chord, amplitude**0.6, count)
    return Scene(
        seconds=np.array(seconds),
        pipe=pipe,
        hz=hz,
        amplitude=amplitude,
        chord=chord,
        band=band,
        first=first,
        second=second,
        rough=(a * b) ** 0.1 * 0.5 * (2.0 * np.minimum(a, b) / (a + b)) ** 3.11,
        deep=2.0 * a * b,
        share=(a * b) ** 0.3 * 2.0 * a * b / (a**2 + b**2) / total[chord[first]],
        per_hz=0.24 / (0.0207 * np.minimum(hz[first], hz[second]) + 18.96),
        power=power,
        loud=loud,
    )


def _pairs(chord: np.ndarray, hz: np.ndarray, pipe: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of partials of two pipes that are near enough to be rough: s Δf below 0.8."""
    limit = hz + 0.8 * (0.0207 * hz + 18.96) / 0.24
    key = chord * 1e6
    end = np.searchsorted(key + hz, key + limit, side="right")
    counts = end - np.arange(len(hz)) - 1
    first = np.repeat(np.arange(len(hz)), counts)
    offset = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    second = first + 1 + offset
    other = pipe[first] != pipe[second]
    return first[other], second[other]
