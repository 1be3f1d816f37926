"""Where a pipe is among others already known: a search over all its groups at once.

For each band the gain in likelihood from one more line of free amplitude is

    |e^H C⁻¹ z|² / (e^H C⁻¹ e),

where C is the covariance of the known members' sound (free amplitude, room as currently estimated,
a model floor of −33 dB) and the noise. The gain is computed on a fine grid of frequencies by FFT,
and its logarithm is summed over the bands, so that many bands that agree outweigh a single one
where a loud neighbour leaves a residual.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.fft

from walkboard.listening.hold.movement import Floats
from walkboard.listening.joint.bands import Band, Waves
from walkboard.listening.joint.courses import Courses
from walkboard.listening.joint.fit import gram, turned
from walkboard.listening.joint.stacks import BandSet


@dataclass(frozen=True, slots=True)
class Limits:
    """How places are searched for. *Fitted*: by bench registrations."""

    model_floor: float = 10.0**-3.3  # share of a band's power that no model explains [-]; fitted
    terms: int = 7  # slow terms of the known members; chosen, for speed
    padded: int = 6  # transform length over the number of nodes [-]; chosen
    step_bins: float = 0.3  # of the grid, at the highest band; chosen
    gain_unit: float = 6.0  # gain that counts as clear [-]; fitted
    blind: float = 0.03  # share of a line that must be new for it to count fully [-]; chosen


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Candidate:
    """A possible place of a pipe: offset from its reference [Hz], and the score there."""

    offset_hz: float
    score: float


@dataclass(frozen=True, slots=True)
class _Whitened:
    """A band with its known members removed, ready to evaluate at any frequency."""

    band: Band
    spectrum: Waves  # (channels, bins): transform of C⁻¹ z
    taken: Floats  # (channels, bins): e^H e less e^H C⁻¹ e, over noise
    noise: Floats

    def at(self, rate_hz: Floats) -> tuple[Waves, Floats]:
        """C⁻¹ z and C⁻¹ e projected on lines at these rates from the band's centre."""
        bins = self.spectrum.shape[1]
        cell = self.band.nodes.times_s[1] - self.band.nodes.times_s[0]
        index = np.round(rate_hz * cell * bins).astype(np.intp) % bins
        own = len(self.band.nodes.times_s) / self.noise[:, np.newaxis]
        own = np.maximum(own - self.taken[:, index], 0.0)
        return self.spectrum[:, index], own


def _whiten(bands: BandSet, index: int, courses: Courses, known: Sequence[int]) -> _Whitened:
    band = bands.bands[index]
    count = len(band.nodes.times_s)
    length = int(scipy.fft.next_fast_len(LIMITS.padded * count))
    power = (band.values.real**2 + band.values.imag**2).mean(axis=1)
    noise = band.noise + LIMITS.model_floor * band.excess * power
    there = [pipe for pipe in known if bands.numbers[index, pipe]]
    if not there:
        spectra = scipy.fft.fft(band.values, length) / noise[:, np.newaxis]
        return _Whitened(band, spectra, np.zeros(spectra.shape), noise)
    stack = bands.one(index, there)
    terms = min(LIMITS.terms, len(band.nodes.columns) - 1)
    few = replace(band.nodes, columns=band.nodes.columns[: 1 + terms])
    lines = turned(stack, courses)
    columns = (lines[0][:, np.newaxis, :] * few.columns).reshape(-1, count)
    product = gram(few, lines).reshape(len(columns), len(columns))
    room = courses.room_variance(stack.pipes, stack.numbers, band.nodes)[0, :, :terms]
    pipes = stack.pipes[0]
    spectra = np.empty((len(band.values), length), dtype=complex)
    taken = np.zeros((len(band.values), length))
    for channel, values in enumerate(band.values):
        squared = np.abs(courses.amplitude[index, pipes, channel]) ** 2
        squared = np.where(courses.seen[index, pipes], squared, power[channel])
        squared = np.maximum(squared, 1e-9 * power[channel])
        precision = np.empty((len(pipes), 1 + terms))
        precision[:, 0] = 1e-4 / power[channel] / count
        precision[:, 1:] = 1.0 / (2.0 * room * squared[:, np.newaxis])
        whole = product + np.diag(noise[channel] * precision.ravel())
        factor = np.linalg.cholesky(whole)
        root = np.linalg.solve(factor, columns.conj())
        rest = values - root.conj().T @ (root @ values)
        overlap = scipy.fft.fft(root.conj(), length, axis=1)
        taken[channel] = (overlap.real**2 + overlap.imag**2).sum(axis=0) / noise[channel]
        spectra[channel] = scipy.fft.fft(rest, length) / noise[channel]
    return _Whitened(band, spectra, taken, noise)


def _rate(bands: BandSet, index: int, pipe: int, offset_hz: Floats) -> Floats:
    number = bands.numbers[index, pipe]
    return np.asarray(number * (bands.reference_hz[pipe] + offset_hz) - bands.centre_hz[index])


def grid_of(bands: BandSet, chosen: Sequence[int], pipe: int, cents: float) -> Floats:
    """Offsets [Hz] fine enough for the highest band."""
    seconds = bands.nodes.seconds
    highest = int(bands.numbers[chosen, pipe].max())
    reach = bands.reference_hz[pipe] * (2.0 ** (cents / 1200.0) - 1.0)
    step = LIMITS.step_bins / seconds / highest
    half = int(np.ceil(reach / step))
    return np.asarray(np.arange(-half, half + 1) * step, dtype=np.float64)


def search_one(  # noqa: PLR0917
    bands: BandSet,
    chosen: Sequence[int],
    courses: Courses,
    pipe: int,
    known: Sequence[int],
    cents: float,
    most: int = 3,
) -> list[Candidate]:
    """Best places of a pipe, best first; those within two steps of a better one are dropped."""
    grid = grid_of(bands, chosen, pipe, cents)
    score = np.zeros(len(grid))
    for index in chosen:
        white = _whiten(bands, index, courses, known)
        rate = _rate(bands, index, pipe, grid)
        pull, own = white.at(rate)
        full = len(white.band.nodes.times_s) / white.noise[:, np.newaxis]
        gain = (np.abs(pull) ** 2 / (own + LIMITS.blind * full)).sum(axis=0)
        score += np.log1p(gain / LIMITS.gain_unit)
    peaks = np.nonzero((score >= np.roll(score, 1)) & (score > np.roll(score, -1)))[0]
    found: list[Candidate] = []
    for place in sorted(peaks, key=lambda p: -score[p]):
        if len(found) >= most:
            break
        found.append(Candidate(float(grid[place]), float(score[place])))
    return found or [Candidate(0.0, 0.0)]


def search_two(  # noqa: PLR0917
    bands: BandSet,
    chosen: Sequence[int],
    courses: Courses,
    pair: tuple[int, int],
    known: Sequence[int],
    cents: float,
    apart_hz: float,
) -> list[tuple[float, float, float]]:
    """Places (offset of the first, of the second, score) of two pipes in near unison, best first.

    They are not named here: the first is the lower one. Closer than `apart_hz`, one line broadened
    by its own movement looks like two, so such places are not searched.
    """
    first = pair[0]
    grid = grid_of(bands, chosen, first, cents)
    score = np.zeros((len(grid), len(grid)))
    i, j = np.arange(len(grid))[:, np.newaxis], np.arange(len(grid))[np.newaxis, :]
    for index in chosen:
        white = _whiten(bands, index, courses, known)
        rate = _rate(bands, index, first, grid)
        pull, own = white.at(rate)
        lag = (np.arange(len(grid)) * (rate[1] - rate[0]))[:, np.newaxis]
        times_s = white.band.nodes.times_s - white.band.nodes.times_s[0]  # as the transform counts
        cross = np.exp(2j * np.pi * lag * times_s).sum(axis=1)
        gain = np.zeros(score.shape)
        for channel in range(len(pull)):
            f, d = pull[channel], own[channel] * (1.0 + LIMITS.blind) + 1e-12
            share = np.sqrt(np.outer(d, d)) * white.noise[channel] / len(white.band.nodes.times_s)
            s = cross[np.abs(i - j)] / white.noise[channel] * np.minimum(1.0, share)
            s = np.where(j >= i, s, s.conj())
            both = np.outer(d, d)
            det = np.maximum(both - np.abs(s) ** 2, 1e-9 * both)
            top = np.outer(np.abs(f) ** 2, d) + np.outer(d, np.abs(f) ** 2)
            top -= 2.0 * (np.outer(f.conj(), f) * s).real
            gain += np.maximum(top, 0.0) / det
        score += np.log1p(gain / LIMITS.gain_unit)
    upper = np.where(j - i >= max(1.0, apart_hz / (grid[1] - grid[0])), score, -np.inf)
    found = []
    for _ in range(2):
        a, b = np.unravel_index(int(np.argmax(upper)), upper.shape)
        if not np.isfinite(upper[a, b]):
            break
        found.append((float(grid[a]), float(grid[b]), float(upper[a, b])))
        upper[max(0, a - 4) : a + 5, max(0, b - 4) : b + 5] = -np.inf
    return found
