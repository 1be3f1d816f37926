"""A look at a high pipe while the room still fills: its course passed through an unknown room.

The sub-band of partial l is y(t) = Σ h(τ) e^{ilφ(t−τ)} + noise. φ is the pipe's phase, one course
for all partials: a steady turn and a slow wander with a prior. h is the room's response there: the
direct sound, then a tail whose taps are independent normal numbers of a power that falls with the
time since. Neither is known, but they turn differently: what the room adds late is small, so the
late sound says most about φ, and the model weights it accordingly. For a given φ the taps are
linear and are integrated out; φ is found by Gauss–Newton on the residual, low partials first.

The tail is a common model of reverberation (Polack 1988, thesis; Moorer 1979, Computer Music
Journal 3(2):13; both from memory). Its decay time is set longer than most rooms', which costs
little; too short, and the pitch would be believed too early. ``bench live`` gives the bound of such
an estimate and what this one reaches.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.live.steady import Steady
from walkboard.quantities import CENTS_PER_NEPER

LOWEST_HZ = 800.0  # below, the many partials already separate the room from the pipe
LONGEST_S = 1.3  # of sound used
UNTIL_S = 1.8  # into a hold: by then the room is practically filled
_STEP_S = 0.02
_ATTACK_S = 0.06
_BEFORE_S = 0.3  # of sound mid-hold, to cover the echo of what came before
_FALL_S = 4.0  # decay by 60 dB
_TAIL = 2.0  # tail power over direct power
_FLOOR = 1e-3  # share of a partial's power that this model ignores
_PRESENT = 20.0
_HIGHEST_HZ = 10_000.0
_MOST_PARTIALS = 8
_FEW = 2
_MANY = 4
_TERMS = 8
_WANDER_CENTS, _WANDER_HZ = 0.1, 0.5
_FAR_CENTS = 5.0
_LATE_PER_S = 5.5  # initial weighting towards late sound: a room of 2.5 s
_UNEXPLAINED = 4.0  # residual per degree of freedom; above, it moves or another pipe sounds
_TURNS = (3, 4)  # iterations with the low partials, then with all
_STATED = 1.3  # python -m bench live: σ by the model is too small by this


@dataclass(frozen=True, slots=True)
class _Course:
    """The possible phase courses of the pipe: columns over the steps, and each one's precision."""

    columns: NDArray[np.float64]
    precision: NDArray[np.float64]
    tail: NDArray[np.float64]


def room_look(
    samples: NDArray[np.float32],
    sample_rate: int,
    near_hz: float,
    window_s: float,
    *,
    from_onset: bool = True,
) -> Steady | None:
    """Measure a pipe while the room fills.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        .4 s to `LONGEST_S`.
    sample_rate : int
    near_hz : float
        Its pitch, within a few tenths of a cent [Hz].
    window_s : float
        The mean is over this last part [s].
    from_onset : bool
        Whether the samples begin just before the pipe does, or mid-sound.

    Returns
    -------
    Steady or None
        None if no partial stands out, or no course explains the sound.
    """
    count = max(1, min(_MOST_PARTIALS, int(min(_HIGHEST_HZ, 0.45 * sample_rate) / near_hz)))
    y, noise = _sub_bands(samples, sample_rate, near_hz, count)
    # Where it began: the step at which the total reaches a tenth of its final loudness.
    loud = (np.abs(y) ** 2).sum(axis=0)
    y = y[:, int(np.argmax(loud > 0.1 * float(np.median(loud[len(loud) // 2 :])))) :]
    steps = y.shape[1]
    first = round((_ATTACK_S if from_onset else _BEFORE_S) / _STEP_S)
    if steps - first < 8:
        return None
    y = y[:, first:]
    power = np.mean(np.abs(y) ** 2, axis=1)
    numbers = np.flatnonzero(power > _PRESENT * noise) + 1
    if not len(numbers):
        return None
    y, power, noise = y[numbers - 1], power[numbers - 1], noise[numbers - 1]
    y /= np.sqrt(power)[:, np.newaxis]
    white = noise / power + _FLOOR
    course = _course(steps)
    scale = 2.0 * np.pi * near_hz / CENTS_PER_NEPER  # rad/s a cent
    columns = course.columns * scale
    place = np.zeros(columns.shape[1])
    place[0] = _late_turn(y, numbers, first) / scale
    few = numbers <= max(_FEW, int(numbers[0]))
    saved = int(len(numbers) > _MANY)  # many partials leave less to find
    for turns, some in zip(_TURNS, (few, numbers > 0), strict=True):
        for _ in range(turns - saved):
            step, covariance, left = _turn(
                y[some], numbers[some], white[some], columns, place, course
            )
            place = place + step
    if not np.isfinite(place).all() or abs(place[0]) > _FAR_CENTS or left > _UNEXPLAINED:
        return None
    end_s = (steps - 0.5) * _STEP_S
    window_s = min(window_s, end_s)
    times = (np.arange(steps) + 0.5) * _STEP_S
    begun = np.array([np.interp(end_s - window_s, times, column) for column in course.columns.T])
    mean = (course.columns[-1] - begun) / window_s
    variance = float(mean @ covariance @ mean) * max(1.0, left)
    cents = float(mean @ place)
    hz = near_hz * (1.0 + cents / CENTS_PER_NEPER)
    return Steady(hz, _STATED * float(np.sqrt(variance)), window_s)


@lru_cache(maxsize=128)
def _course(steps: int) -> _Course:
    """Over the steps: the phase for a steady one cent, then the wander's basis courses."""
    times = (np.arange(steps) + 0.5) * _STEP_S
    # A second-order course of that cut-off, as pipes on wind wander (docs/listening.md).
    rate = 2.0 * np.pi * _WANDER_HZ / np.sqrt(2.0)
    apart = rate * np.abs(np.subtract.outer(times, times))
    wander = _WANDER_CENTS**2 * np.exp(-apart) * (np.cos(apart) + np.sin(apart))
    summed = np.tril(np.ones((steps, steps))) * _STEP_S
    size, shape = np.linalg.eigh(summed @ wander @ summed.T)
    terms = min(_TERMS, steps)
    size, shape = size[-terms:], shape[:, -terms:]
    columns = np.column_stack([times, shape * np.sqrt(np.maximum(size, 0.0))])
    fall = 2.0 * np.log(1000.0) / _FALL_S
    tail = _TAIL * fall * np.exp(-fall * times) * _STEP_S
    tail[0] = 1.0
    filled = 1.0 + _TAIL * (1.0 - np.exp(-fall * times)).mean()
    return _Course(columns, np.array([1.0 / _FAR_CENTS**2] + terms * [1.0]), tail / filled)


def _sub_bands(
    samples: NDArray[np.float32], sample_rate: int, hz: float, count: int
) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
    """Each partial at each step, under a raised cosine two steps long, and the noise near it."""
    size = round(_STEP_S * sample_rate)
    steps = len(samples) // size
    # Ending with the newest sound; the first step begins half a step early, in silence.
    sound = np.zeros((steps + 1) * size)
    sound[size // 2 : size // 2 + steps * size] = samples[len(samples) - steps * size :]
    window = 0.5 - 0.5 * np.cos(np.pi * (np.arange(2 * size) + 0.5) / size)
    window /= window.sum()
    halves = window.reshape(2, size).T
    times = (np.arange(len(sound)) - size // 2) / sample_rate
    half = np.exp(-1j * np.pi * hz * times)
    turned = sound * half
    found = np.empty((2 * count + 1, steps), dtype=np.complex128)
    for row in range(2 * count + 1):
        parts = turned.reshape(steps + 1, size) @ halves
        found[row] = parts[:-1, 0] + parts[1:, 1]
        if row < 2 * count:
            turned *= half
    between = np.median(np.abs(found[2::2]) ** 2, axis=1) / np.log(2.0)
    return found[1::2].copy(), between


def _late_turn(y: NDArray[np.complex128], numbers: NDArray[np.int_], first: int) -> float:
    """Rate at which the late sound turns [rad/s]: a good starting value."""
    times = (first + np.arange(y.shape[1])) * _STEP_S
    weight = np.exp(_LATE_PER_S * (times[:-1] - times[-1]))
    turn = 0.0
    for _ in range(2):
        back = y * np.exp(-1j * turn * np.outer(numbers, times))
        step = (back[:, :-1].conj() * back[:, 1:]) @ weight
        turn += float(numbers @ step.imag / (numbers**2 @ np.maximum(step.real, 1e-12))) / _STEP_S
    return turn


def _turn(  # noqa: PLR0917
    y: NDArray[np.complex128],
    numbers: NDArray[np.int_],
    white: NDArray[np.float64],
    columns: NDArray[np.float64],
    place: NDArray[np.float64],
    course: _Course,
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """One Gauss–Newton step, the covariance there, and the residual per degree of freedom."""
    steps, heard = len(columns), y.shape[1]
    phase = np.exp(1j * np.outer(numbers, columns @ place))
    padded = np.concatenate([np.zeros((len(y), steps)), phase], axis=1)
    # row k of `course through the room`: the phases of k, k−1 …
    back = np.lib.stride_tricks.sliding_window_view(padded[:, 1:], steps, axis=1)[:, -heard:, ::-1]
    weighed = back * course.tail
    cover = weighed @ back.conj().transpose(0, 2, 1)
    cover[:, np.arange(heard), np.arange(heard)] += white[:, np.newaxis]
    solved = np.linalg.solve(cover, y[:, :, np.newaxis])
    taps = (weighed.conj().transpose(0, 2, 1) @ solved)[:, :, 0]
    padded_taps = np.concatenate([np.zeros((len(y), steps)), taps], axis=1)
    through = np.lib.stride_tricks.sliding_window_view(padded_taps[:, 1:], steps, axis=1)
    through = through[:, -heard:, ::-1]
    slope = (
        1j * numbers[:, np.newaxis, np.newaxis] * ((through * phase[:, np.newaxis, :]) @ columns)
    )
    slope_solved = np.linalg.solve(cover, slope)
    gradient = 2.0 * np.einsum("lkj,lk->j", slope.conj(), solved[:, :, 0]).real
    gradient -= course.precision * place
    curve = 2.0 * np.einsum("lki,lkj->ij", slope.conj(), slope_solved).real
    curve += np.diag(course.precision)
    covariance = np.linalg.inv(curve)
    left = float(np.einsum("lk,lk->", y.conj(), solved[:, :, 0]).real) / y.size
    return covariance @ gradient, covariance, left
