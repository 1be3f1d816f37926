"""How far a recorder's clock is off, from a tone of exactly known frequency in the recording.

A recorder whose clock runs fast writes too many samples a second, and every pitch reads too low. A
tone from a standard, from a radio's time signal or a disciplined generator, shows it; mains hum
wanders too much, and a tuning fork follows the air.

The recording is turned back by the tone's frequency and averaged over short cells; what is left of
the tone is a slow phase, whose slope is the clock's error. It counts only where nothing else moves
it: outside the holds, with a steady level, on a straight line.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.sound.decoder import Samples

_CENTS = 1200.0 / np.log(2.0)


@dataclass(frozen=True, slots=True)
class Limits:
    """When a tone counts as the known one. Figures are *chosen*."""

    cell_s: float = 0.05  # over which the turned-back sound is averaged
    window_s: float = 1.0  # looked at together
    least_s: float = 2.5  # that the tone must last
    clear_s: float = 0.5  # from any hold: the room still rings
    most_off: float = 400e-6  # of the clock [-]; a pipe so near would need to be in tune
    unsteady: float = 0.15  # of the level, standard deviation over mean [-]
    bent_rad: float = 0.15  # of the phase about its line, root mean square
    least_sigma_cents: float = 0.002  # of what is given


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class ToneHeard:
    """A known tone as a recording has it.

    Attributes
    ----------
    cents : float
        What the recording reads over the true frequency.
    sigma_cents : float
    start_s, end_s : float
    """

    cents: float
    sigma_cents: float
    start_s: float
    end_s: float


def hear_tone(
    blocks: Iterable[Samples],
    sample_rate: int,
    tone_hz: float,
    holds_s: Sequence[tuple[float, float]],
) -> ToneHeard | None:
    """Measure a known tone; None if it does not sound alone.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (n, channels)
    sample_rate : int
    tone_hz : float
    holds_s : sequence of (float, float)
        Starts and ends of the walk's holds.
    """
    cells = _cells(blocks, sample_rate, tone_hz)
    cell_s = round(LIMITS.cell_s * sample_rate) / sample_rate
    run = _longest_run(cells, cell_s, tone_hz, holds_s)
    if run is None:
        return None
    first, last = run
    times = cell_s * np.arange(last - first)
    phase = np.unwrap(np.angle(cells[first:last]))
    slope, offset = np.polyfit(times, phase, 1)
    left = phase - slope * times - offset
    # The phase's own unrest is slow: no more than four cells in a window count as independent.
    independent = max(2.0, 4.0 * (last - first) * cell_s / LIMITS.window_s)
    spread = float(np.sqrt(np.mean(left**2) / independent / np.var(times)))
    per_cents = _CENTS / (2.0 * np.pi * tone_hz)
    return ToneHeard(
        float(slope * per_cents),
        float(max(LIMITS.least_sigma_cents, spread * per_cents)),
        first * cell_s,
        last * cell_s,
    )


def _cells(blocks: Iterable[Samples], sample_rate: int, tone_hz: float) -> NDArray[np.complex128]:
    """The sound turned back by the tone, averaged over cells."""
    size = round(LIMITS.cell_s * sample_rate)
    window = np.hanning(size)
    found: list[NDArray[np.complex128]] = []
    rest = np.zeros(0)
    at = 0
    for block in blocks:
        mono = np.concatenate([rest, np.asarray(block, np.float64).mean(axis=1)])
        count = len(mono) // size
        whole = mono[: count * size].reshape(count, size)
        # The phase of each cell's start is calculated on its own: a long product would lose digits.
        within = np.exp(-2j * np.pi * tone_hz / sample_rate * np.arange(size)) * window
        starts = (at + size * np.arange(count)) * (tone_hz / sample_rate)
        found.append((whole @ within) * np.exp(-2j * np.pi * (starts % 1.0)))
        at += count * size
        rest = mono[count * size :]
    return np.concatenate(found) if found else np.zeros(0, np.complex128)


def _longest_run(
    cells: NDArray[np.complex128],
    cell_s: float,
    tone_hz: float,
    holds_s: Sequence[tuple[float, float]],
) -> tuple[int, int] | None:
    """First and last cell of the longest stretch in which the tone sounds alone."""
    size = round(LIMITS.window_s / cell_s)
    free = np.ones(len(cells), bool)
    for start_s, end_s in holds_s:
        first = max(0, int((start_s - LIMITS.clear_s) / cell_s))
        free[first : int((end_s + LIMITS.clear_s) / cell_s) + 1] = False
    looked: list[tuple[int, float]] = []
    most = 2.0 * np.pi * tone_hz * LIMITS.most_off
    times = cell_s * np.arange(size)
    for first in range(0, len(cells) - size + 1, max(1, size // 4)):
        here = cells[first : first + size]
        level = np.abs(here)
        if not free[first : first + size].all() or level.std() > LIMITS.unsteady * level.mean():
            continue
        phase = np.unwrap(np.angle(here))
        slope, offset = np.polyfit(times, phase, 1)
        bent = float(np.sqrt(np.mean((phase - slope * times - offset) ** 2)))
        if abs(slope) < most and bent < LIMITS.bent_rad:
            looked.append((first, float(level.mean())))
    loudest = max((level for _, level in looked), default=0.0)
    good = np.zeros(len(cells), bool)
    for first, mean_level in looked:
        if mean_level > 0.5 * loudest:  # silence is steady, too
            good[first : first + size] = True
    edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(np.int8)))
    runs = list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
    if not runs:
        return None
    first, last = max(runs, key=lambda run: run[1] - run[0])
    return (first, last) if (last - first) * cell_s >= LIMITS.least_s else None
