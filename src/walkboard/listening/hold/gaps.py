"""Lost samples in a hold: when a recorder drops 5 to 20 ms, every partial's phase steps.

The step is the partial's frequency times the missing time, so all phases jump at one moment while
the amplitudes continue. A fade in the room turns one partial; a voice or a bump changes the
amplitudes. So each strong partial's phase is followed in short steps. A moment at which most of
them jump far more than elsewhere in the hold is a gap, and the hold is read on its longer side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from walkboard.listening.hold.spectrum import HoldSpectrum


@dataclass(frozen=True, slots=True)
class Limits:
    """When a jump of the phases is a gap. Figures without a source are *chosen*."""

    reach_hz: float = 50.0  # half width of the band around a line: each look is 40 ms long
    look_s: float = 0.04  # between the looks compared
    highest_hz: float = 6_000.0  # highest line followed
    partials: int = 14  # strongest lines followed
    range_db: float = 35.0  # how far below the strongest they may be
    least: int = 3  # lines needed; most of them must jump
    jump_rad: float = 0.8  # median jump; clean holds reach .32, gaps 1.1 (bench mishaps)
    times: float = 8.0  # the jump over the hold's own median; from the same bench
    loud: float = 0.5  # of a line's usual amplitude, below which its phase does not count
    start_s: float = 0.7  # skipped at the start of the hold: not measured, and phases settle
    end_s: float = 0.15  # skipped at its end


LIMITS = Limits()


def find_gap(spectrum: HoldSpectrum) -> float | None:
    """Where samples are missing in a hold [s from its start]; None if none are."""
    lines = _lines(spectrum)
    if len(lines) < LIMITS.least:
        return None
    half = int(np.ceil(LIMITS.reach_hz / spectrum.spacing_hz))
    cell_s = spectrum.length / spectrum.sample_rate / (2 * half)
    jumps = _jumps(spectrum, lines, half, max(1, round(LIMITS.look_s / cell_s)))
    edge = round(LIMITS.start_s / cell_s)
    inner = jumps[edge : int((spectrum.seconds - LIMITS.end_s) / cell_s)]
    if len(inner) < 10:
        return None
    worst = int(np.argmax(inner))
    if inner[worst] < max(LIMITS.jump_rad, LIMITS.times * float(np.median(inner))):
        return None
    return float((worst + edge) * cell_s)


def _lines(spectrum: HoldSpectrum) -> NDArray[np.intp]:
    """Bins of the strongest lines, far enough apart that their bands hardly overlap."""
    highest = min(spectrum.power.shape[1], round(LIMITS.highest_hz / spectrum.spacing_hz))
    size = spectrum.power[:, :highest].sum(axis=0)
    half = int(np.ceil(LIMITS.reach_hz / spectrum.spacing_hz))
    size[:half] = 0.0
    size[-half:] = 0.0
    strongest = float(size.max(initial=0.0))
    found: list[int] = []
    while len(found) < LIMITS.partials:
        place = int(np.argmax(size))
        if size[place] <= strongest * 10.0 ** (-LIMITS.range_db / 10.0):
            break
        found.append(place)
        size[max(0, place - half) : place + half + 1] = 0.0
    return np.array(found, np.intp)


def _jumps(
    spectrum: HoldSpectrum, lines: NDArray[np.intp], half: int, lag: int
) -> NDArray[np.float64]:
    """Median over the lines of how far their phases jump around each moment [rad].

    This is the second difference of the phase, so a line's exact frequency and slow wander drop
    out.
    """
    offsets = np.arange(-half, half)
    weight = 0.5 + 0.5 * np.cos(np.pi * offsets / half)
    loudest = int(np.argmax((np.abs(spectrum.bins[:, lines]) ** 2).sum(axis=1)))
    gathered = spectrum.bins[loudest][lines[:, np.newaxis] + offsets] * weight
    values = scipy.fft.ifft(np.fft.ifftshift(gathered, axes=1), axis=1)
    turn = values[:, lag:] * values[:, :-lag].conj()
    again = np.abs(np.angle(turn[:, lag:] * turn[:, :-lag].conj()))
    # Where a line is faint, for instance at a beat's null, its phase turns on its own.
    size = np.abs(values)
    least = np.minimum(np.minimum(size[:, : -2 * lag], size[:, lag:-lag]), size[:, 2 * lag :])
    again[least < LIMITS.loud * np.median(size, axis=1, keepdims=True)] = 0.0
    jumps = np.zeros(values.shape[1])
    jumps[lag : lag + again.shape[1]] = np.median(again, axis=0)
    return jumps
