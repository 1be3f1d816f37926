"""Compares what was heard in a rendered walk with the synthesiser's truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.demo.synthesiser import HoldTruth, Slip, WalkTruth
from walkboard.listening.readings import Measured
from walkboard.listening.types import HoldFlag, ReadingFlag
from walkboard.quantities import cents_of_ratio
from walkboard.survey.hear.heard_walk import HeardWalk, Hold

_NEAR_S = 0.4  # a hold matches if it begins within this of the true one


@dataclass(frozen=True, eq=False)
class Comparison:
    """One walk against its truth.

    Attributes
    ----------
    file : str
    sounding : int
        Holds at which a pipe sounded.
    found, named : int
        How many of these were found, and with the right key.
    false : int
        False holds.
    errors_cents : ndarray, shape (readings,)
        Reading minus truth over the reading's window [cents].
    errors_sigma : ndarray, shape (readings,)
        The same in units of the stated σ.
    planted, reported : tuple of str
        Faults planted, and those that were reported.
    """

    file: str
    sounding: int
    found: int
    named: int
    false: int
    errors_cents: NDArray[np.float64]
    errors_sigma: NDArray[np.float64]
    planted: tuple[str, ...]
    reported: tuple[str, ...]


def compare(heard: HeardWalk, truth: WalkTruth) -> Comparison:
    """Compare a heard walk with its truth."""
    sounding = [hold for hold in truth.holds if hold.sounds]
    left = list(heard.holds)
    found = named = 0
    cents: list[float] = []
    sigmas: list[float] = []
    planted: list[str] = []
    reported: list[str] = []
    for true in truth.holds:
        hold = _nearest(left, true) if true.sounds else None
        if hold is not None:
            left.remove(hold)
            found += 1
            named += hold.key == true.key
        for slip in true.slips:
            planted.append(f"{slip.value} {true.key}")
            if _is_reported(slip, true, hold, heard):
                reported.append(planted[-1])
        if hold is None or hold.key != true.key:
            continue
        pipes = {pipe.pipe for pipe in true.pipes}
        for reading in hold.readings:
            if not isinstance(reading, Measured) or reading.pipe not in pipes:
                continue
            true_hz = true.mean_hz(reading.pipe, reading.start_s, reading.end_s)
            cents.append(cents_of_ratio(reading.hz / true_hz))
            sigmas.append(cents[-1] / reading.sigma_cents)
    return Comparison(
        file=heard.file,
        sounding=len(sounding),
        found=found,
        named=named,
        false=len(left),
        errors_cents=np.asarray(cents),
        errors_sigma=np.asarray(sigmas),
        planted=tuple(planted),
        reported=tuple(reported),
    )


def _nearest(holds: list[Hold], true: HoldTruth) -> Hold | None:
    near = [hold for hold in holds if abs(hold.start_s - true.start_s) < _NEAR_S]
    return min(near, key=lambda hold: abs(hold.start_s - true.start_s), default=None)


def _is_reported(slip: Slip, true: HoldTruth, hold: Hold | None, heard: HeardWalk) -> bool:
    if slip is Slip.DEAD:
        return true.key in heard.silent_keys
    if hold is None:
        return False
    if slip is Slip.REPEATED:
        return HoldFlag.REPEAT in hold.flags
    if slip is Slip.OFF_SPEECH:
        return any(ReadingFlag.OCTAVE in reading.flags for reading in hold.readings)
    if slip is Slip.OUT_OF_ORDER:
        # Of two swapped keys, the one against the walk's direction is flagged.
        return any(
            HoldFlag.OUT_OF_ORDER in other.flags
            for other in heard.holds
            if abs(other.n - hold.n) <= 1
        )
    if slip is Slip.WRONG:
        return hold.key == true.key and true.wanted in (*heard.silent_keys, *heard.not_held)
    if slip is Slip.LONG:
        return abs((hold.end_s - hold.start_s) - (true.end_s - true.start_s)) < _NEAR_S
    return hold.key == true.key
