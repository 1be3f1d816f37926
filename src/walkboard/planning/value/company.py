"""A pipe's company: what it sounds with, and at which of its partials they beat.

Two partials that nearly coincide beat, and the ripple of their power is deeper the closer they are
in strength: 2ab/(a² + b²) for amplitudes a and b, 1 where they are equal (arithmetic of two sines;
Helmholtz, On the Sensations of Tone, ch. 8). So an out-of-tune pipe is heard by its beats where one
of its partials meets another of similar strength: in its unison, in its octaves, in the chorus
above it. For every key the strengths of all pipes sounding are added up, harmonic by harmonic, and
each partial of the pipe is compared with the sum of the others.

    D_m = 2 a_m b_m/(a_m² + b_m²)                 depth of the beats at its partial m v_m =
    a_m^0.6/Σ a_m^0.6                       share of its loudness that lies there company = α + (1 −
    α) Σ v_m D_m,  α = 0.4     α: what is heard of a pipe sounding alone ψ half at the deviation at
    which Σ v_m D_m ψ(m d) is half of Σ v_m D_m

Loudness grows as the 0.3 power of intensity (Stevens 1955, JASA 27:815; from memory), so 0.6 of
amplitude. α is chosen: a pipe alone is still heard against the scale, but only by its pitch.
Spectra are by family: an open flue's partials fall as 1/m, a reed's as 1/√m, a stopped pipe has the
odd ones, and above 4 kHz all grow weak (Fletcher & Rossing, The Physics of Musical Instruments, ch.
17, from memory, for the kinds; the figures are chosen). None of this is certain within a factor of
two in loudness.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from walkboard.condition.kinds import Role
from walkboard.organ.model import Family
from walkboard.planning.arrays import BoolArray, FloatArray, IntArray
from walkboard.planning.value.layout import EIGHTHS, Layout

PARTIALS = 8
ALONE = 0.4
LOUDNESS_OF_AMPLITUDE = 0.6
TOGETHER = 0.5  # how much of a neighbour's power counts if the registration is unknown
ROLL_OFF_HZ = 4000.0  # partials are weaker above it, by a half at twice as much
COUPLED = 0.25  # how often a coupler is drawn where nobody said; common practice, no source
OCTAVE = 0.5  # how much of the power of the same stops an octave up or down: keys played in octaves

# Level of a pipe that was not heard, against the median flue that was [dB]: common practice, no
# source.
USUAL_DB: Mapping[Role, float] = MappingProxyType(
    {Role.UNISON: 0.0, Role.MUTATION: -3.0, Role.MIXTURE: -6.0, Role.CELESTE: -6.0, Role.REED: 4.0}
)
MOST_DB = 10.0  # levels further from the median are not believed

_HIGHEST = 64 * EIGHTHS  # the highest harmonic of a key considered, in eighths
_SEMITONES = 160


@dataclass(frozen=True, slots=True)
class Registration:
    """What sounds together.

    Attributes
    ----------
    present : (pipes,) array
        Share of each pipe's power that sounds when any does, 0 to 1.
    coupled : tuple of (int, int, float)
        Divisions that are heard together at the same key, by number, and how much of the power of
        the one counts for the other.
    """

    present: FloatArray
    coupled: tuple[tuple[int, int, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Company:
    """What each pipe sounds with.

    Attributes
    ----------
    depth : (pipes, partials) array
        v_m D_m: share of the pipe's loudness that beats, by its partials.
    """

    depth: FloatArray

    @property
    def factor(self) -> FloatArray:
        """How much of the pipe's deviation is heard, `ALONE` to 1."""
        heard: FloatArray = ALONE + (1.0 - ALONE) * self.depth.sum(axis=1)
        return heard

    @property
    def beating_partial(self) -> FloatArray:
        """The partial that represents all the pipe's beats; 1 if it sounds alone.

        The deviation at which its beats reach half of their roughness, in units of the partial:
        solved by Newton's method on ln x, where the curve is nearly straight.
        """
        total = self.depth.sum(axis=1, keepdims=True)
        share = np.where(total > 0.0, self.depth, 0.0) / np.maximum(total, 1e-300)
        share[total[:, 0] <= 0.0] = np.eye(1, PARTIALS)[0]
        partial2 = np.arange(1.0, PARTIALS + 1.0) ** 2
        x2 = 1.0 / (share @ partial2)  # from the curvature near the target
        for _ in range(6):
            u2 = partial2 * x2[:, None]
            psi = (share * u2 / (1.0 + u2)).sum(axis=1)
            slope = (share * u2 / (1.0 + u2) ** 2).sum(axis=1)  # dψ/d ln x²
            x2 = x2 * np.exp(np.clip((0.5 - psi) / slope, -1.0, 1.0))
        partial: FloatArray = 1.0 / np.sqrt(x2)
        return partial


def ordinary(layout: Layout) -> Registration:
    """If the registration is unknown: every rank of the division, half the time; no celeste."""
    roles = [layout.role[rank.id] for rank in layout.organ.ranks]
    share = np.array([0.0 if role is Role.CELESTE else TOGETHER for role in roles])
    return Registration(share[layout.rank_of], coupled_by(layout, None))


def coupled_by(layout: Layout, drawn: Collection[str] | None) -> tuple[tuple[int, int, float], ...]:
    """Divisions that unison couplers join.

    Parameters
    ----------
    layout : Layout
    drawn : collection of str or None
        Ids of what is drawn; None if unknown: then every coupler is drawn now and then.
    """
    number = {division.id: n for n, division in enumerate(layout.organ.divisions)}
    joined = {
        (number[c.from_division], number[c.to_division])
        for c in layout.organ.couplers
        if c.semitones == 0
        and not c.unison_off
        and c.from_division != c.to_division
        and (drawn is None or c.id in drawn)
    }
    share = COUPLED if drawn is None else 1.0
    return tuple((one, other, share) for one, other in sorted(joined))


def levels_db(layout: Layout, heard: Mapping[int, float]) -> FloatArray:
    """Level of every pipe against the median flue heard [dB].

    Parameters
    ----------
    layout : Layout
    heard : mapping of place to dB
        Against that median. Pipes not heard in a partly heard rank get its median.
    """
    usual = np.array([USUAL_DB[layout.role[rank.id]] for rank in layout.organ.ranks])
    level: FloatArray = usual[layout.rank_of].copy()
    if heard:
        places = np.fromiter(heard, dtype=np.int64)
        values = np.fromiter(heard.values(), dtype=np.float64)
        ranks = layout.rank_of[places]
        for rank in np.unique(ranks):
            part = layout.organ.ranks[int(rank)]
            level[layout.slice_of(part)] = np.median(values[ranks == rank])
        level[places] = values
    return np.clip(level, -MOST_DB, MOST_DB)


def company_of(layout: Layout, level_db: FloatArray, registration: Registration) -> Company:
    """What every pipe sounds with in one registration.

    Parameters
    ----------
    layout : Layout
    level_db : (pipes,) array
        Against the median flue [dB].
    registration : Registration

    Notes
    -----
    A division is taken for itself, with what unison couplers of the registration add to it. Octave
    couplers are in what keys an octave apart add.
    """
    amplitude = _spectra(layout) * 10.0 ** (level_db / 20.0)[:, None]
    power = amplitude**2
    harmonic = layout.eighths[:, None] * np.arange(1, PARTIALS + 1)
    inside = (harmonic > 0) & (harmonic < _HIGHEST)
    harmonic = np.where(inside, harmonic, 0)
    divisions = len(layout.organ.divisions)
    row = layout.division_of * _SEMITONES + np.clip(layout.semitone + 12, 12, _SEMITONES - 13)
    flat = row[:, None] * _HIGHEST + harmonic
    present = np.where(inside, power * registration.present[:, None], 0.0)
    sounding: FloatArray = np.bincount(
        flat.ravel(), weights=present.ravel(), minlength=divisions * _SEMITONES * _HIGHEST
    ).astype(np.float64)
    sounding = _with_coupled(sounding, divisions, registration.coupled)
    octaves = _octaves(sounding, row, harmonic)
    others = sounding[flat] - present + OCTAVE * octaves
    beside = np.sqrt(np.maximum(np.where(inside, others, 0.0), 0.0))
    both = power + beside**2
    deep = np.where(both > 0.0, 2.0 * amplitude * beside / np.maximum(both, 1e-300), 0.0)
    loud = amplitude**LOUDNESS_OF_AMPLITUDE
    return Company(loud / loud.sum(axis=1, keepdims=True) * deep)


def blended(companies: Sequence[Company], weights: Sequence[FloatArray]) -> Company:
    """The mean company of each pipe over registrations.

    Parameters
    ----------
    companies : sequence of Company
    weights : sequence of (pipes,) arrays
        Share of each pipe's use in each registration; a sum of 0 leaves it alone.
    """
    total = np.maximum(np.sum(weights, axis=0), 1e-300)[:, None]
    depth = sum(
        (c.depth * w[:, None] for c, w in zip(companies, weights, strict=True)),
        start=np.zeros_like(companies[0].depth),
    )
    return Company(depth / total)


def _with_coupled(
    sounding: FloatArray, divisions: int, coupled: Sequence[tuple[int, int, float]]
) -> FloatArray:
    """Power at each harmonic of each key, with that of the divisions coupled to it."""
    if not coupled:
        return sounding
    alone = sounding.reshape(divisions, -1)
    together = alone.copy()
    for one, other, share in coupled:  # both ways: who hears the one beat hears the other
        together[one] += share * alone[other]
        together[other] += share * alone[one]
    return together.ravel()


def _octaves(sounding: FloatArray, row: IntArray, harmonic: IntArray) -> FloatArray:
    """Power of the same registration an octave up and down, at each partial of each pipe."""
    odd: BoolArray = (harmonic % 2 == 1) | (harmonic == 0)
    above = np.where(odd, 0.0, sounding[(row + 12)[:, None] * _HIGHEST + harmonic // 2])
    double = np.where(2 * harmonic < _HIGHEST, 2 * harmonic, 0)
    below = np.where(double > 0, sounding[(row - 12)[:, None] * _HIGHEST + double], 0.0)
    total: FloatArray = above + below
    return total


def _spectra(layout: Layout) -> FloatArray:
    """Amplitudes of the partials of every pipe, of power 1 in all."""
    partial = np.arange(1.0, PARTIALS + 1.0)
    odd = np.where(partial % 2.0 == 1.0, 1.0, 0.1)
    of_family = {
        Family.OPEN: 1.0 / partial,
        Family.STOPPED: odd / partial**1.5,
        Family.CHIMNEY: np.maximum(odd, 0.3) / partial**1.5,
        Family.REED: 1.0 / np.sqrt(partial),
    }
    spectra = np.array(
        [of_family[r.family_of(n)] for r in layout.organ.ranks for n in range(1, r.pipes + 1)]
    )
    at_hz = layout.nominal_hz[:, None] * partial
    amplitudes: FloatArray = spectra / np.hypot(1.0, at_hz / ROLL_OFF_HZ)
    amplitudes /= np.sqrt((amplitudes**2).sum(axis=1, keepdims=True))
    return amplitudes
