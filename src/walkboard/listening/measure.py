"""Measure every pipe of one hold: one pipe alone (`hold`), several together (`joint`).

The value is the pipe's mean frequency over the reported window: its phase change over the window,
divided by the window's length.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.gaps import find_gap
from walkboard.listening.hold.measure import measure_alone, nothing_heard, steady_window
from walkboard.listening.hold.spectrum import spectrum_of_hold
from walkboard.listening.joint.measure import measure_jointly
from walkboard.listening.readings import CombReading
from walkboard.listening.sound.quality import piles_up
from walkboard.listening.types import Comb, ReadingFlag

_DIGITAL_SILENCE = 1e-7  # range of the samples, full scale 2; chosen: below the last of 24 bits
_LEAST_RUNS = 8  # of three samples in a row at the extreme; chosen
_LONGEST_S = 12.0  # longest part measured, at the end of a hold; chosen: then wander outgrows noise
_GAP_MARGIN_S = 0.06  # skipped either side of a gap; derived: its place is known to 0.04 s
_LEAST_LEFT_S = 1.0  # least part of a hold between gaps; chosen
_JOINT_MEMORY_S = 0.04  # of the sub-bands of several pipes together; derived from their guards


def measure_hold(
    samples: NDArray[np.floating],
    sample_rate: int,
    combs: Sequence[Comb],
    *,
    start_s: float = 0.0,
) -> tuple[CombReading, ...]:
    """Measure every comb expected in a hold.

    Parameters
    ----------
    samples : ndarray, shape (n, channels)
        The hold from the key going down to its going up, full scale ±1.
    sample_rate : int
        [Hz]
    combs : sequence of Comb
    start_s : float
        Start of the hold in the recording; added to the times of the readings.

    Returns
    -------
    tuple of CombReading
        In the order of the combs.

    Raises
    ------
    ValueError
        If the samples do not have two dimensions, are not finite, or the rate is not positive.
    """
    array = np.asarray(samples, dtype=np.float32, order="F")  # channel by channel in memory
    if array.ndim != 2:
        raise ValueError(f"samples must have shape (n, channels), not {array.shape}")
    if sample_rate <= 0:
        raise ValueError(f"the sample rate must be positive, not {sample_rate}")
    if not np.isfinite(array).all():
        raise ValueError("samples must be finite numbers: replace or remove NaN and infinity first")
    longest = int(_LONGEST_S * sample_rate)
    offset_s = start_s
    if len(array) > longest:
        offset_s += (len(array) - longest) / sample_rate
        array = array[-longest:]
    shared = _clipped(array)
    seconds = len(array) / sample_rate
    if len(array) < 64 or array.shape[1] == 0 or _range(array) < _DIGITAL_SILENCE:
        flag = ReadingFlag.SHORT if len(array) < 64 else ReadingFlag.SILENT
        end_s = offset_s + seconds
        return tuple(nothing_heard(comb, (offset_s, end_s), (flag, *shared)) for comb in combs)
    spectrum = spectrum_of_hold(array, sample_rate)
    gap_s = find_gap(spectrum)
    while gap_s is not None:
        gap = round(gap_s * sample_rate)
        margin = round(_GAP_MARGIN_S * sample_rate)
        before, after = array[: max(0, gap - margin)], array[gap + margin :]
        if len(after) > len(before):
            offset_s += (gap + margin) / sample_rate
        array = after if len(after) > len(before) else before
        if ReadingFlag.GAP not in shared:
            shared = (*shared, ReadingFlag.GAP)
        if len(array) < _LEAST_LEFT_S * sample_rate:
            end_s = offset_s + len(array) / sample_rate
            return tuple(nothing_heard(comb, (offset_s, end_s), shared) for comb in combs)
        spectrum = spectrum_of_hold(array, sample_rate)
        gap_s = find_gap(spectrum)
    if len(combs) > 1:
        window = steady_window(spectrum.seconds, _JOINT_MEMORY_S)
        return measure_jointly(spectrum, combs, window, offset_s, shared)
    return tuple(measure_alone(spectrum, comb, offset_s, shared) for comb in combs)


def _range(array: NDArray[np.float32]) -> float:
    """Largest range of a channel, full scale 2."""
    return max(float(channel.max() - channel.min()) for channel in array.T)


def _clipped(array: NDArray[np.float32]) -> tuple[ReadingFlag, ...]:
    """Whether the top of the waveform is flat: often three samples in a row at the extreme."""
    for channel in array.T:
        size = np.abs(channel)
        flat = size >= float(size.max(initial=0.0)) * (1.0 - 1e-6)
        runs = flat[2:] & flat[1:-1] & flat[:-2]
        if np.count_nonzero(runs) >= _LEAST_RUNS and piles_up(channel):
            return (ReadingFlag.CLIPPED,)
    return ()
