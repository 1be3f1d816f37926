"""How exact half a second can be while a room fills, for an estimator that knows the room's decay.

The sound of `tests.signals.note`: partials that share one course (a steady turn and a wander of 0.1
cent), through a room whose tail is normal and falls 60 dB in its time, in wind. The bound is the
posterior one (Van Trees 1968, Detection, Estimation, and Modulation Theory, part I, section 2.4;
from memory): for drawn rooms and courses the information of the course, the room's taps summed out
with their true powers, and the course's own prior. It shares no code with Walkboard.
Run: python -m bench live_bound
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from tests.signals import KINDS, note, partial_levels, slow_noise

from walkboard.listening.live.reverberation import room_look
from walkboard.listening.live.steady import steady_look

RATE = 48_000
STEP_S = 0.02
ROOM_S, DIRECT_DB, SNR_DB = 2.5, -3.0, 30.0
WANDER_CENTS, WANDER_HZ = 0.1, 0.5
WINDOW_S = 0.5
NEPER_CENTS = 1200.0 / np.log(2.0)


def bound_sigma_cents(hz: float, kind: str, end_s: float, rng: np.random.Generator) -> float:
    """Of the mean over the last half second of a note heard for `end_s`, one room and course."""
    levels = partial_levels(kind, hz, rng, 10_000.0)
    share = levels**2 / (levels**2).sum()
    steps = round(end_s / STEP_S)
    times = (np.arange(steps) + 0.5) * STEP_S
    turn = 2.0 * np.pi * hz / NEPER_CENTS  # rad/s a cent
    drawn = slow_noise(steps * 20, 1000.0, WANDER_HZ, rng)[::20]
    phase = turn * WANDER_CENTS * np.cumsum(drawn) * STEP_S
    speech_s = min(0.3, 0.03 + 8.0 / hz)
    attack = 1.0 - np.exp(-3.0 * (times / speech_s) ** 2)
    tail = 10.0 ** (-DIRECT_DB / 10.0)
    fall = 2.0 * np.log(1000.0) / ROOM_S
    power = tail * fall * np.exp(-fall * times) * STEP_S
    power[0] = 1.0
    precision = np.linalg.inv(_course_covariance(times, turn))
    back = np.subtract.outer(np.arange(steps), np.arange(steps))
    at = np.clip(back, 0, None)
    for number, part in enumerate(share, start=1):
        taps = rng.standard_normal(steps) + 1j * rng.standard_normal(steps)
        taps *= np.sqrt(power / 2.0)
        taps[0] = 1.0
        sent = attack * np.exp(1j * number * phase)
        course = np.where(back >= 0, sent[at], 0.0)
        slope = 1j * number * np.where(back >= 0, taps[at], 0.0) * sent
        prior = power.copy()
        prior[0] = 100.0  # its level is not known
        white = _noise_density(number * hz) / STEP_S / (part / (1.0 + tail))
        cover = (course * prior) @ course.conj().T + white * np.eye(steps)
        precision += 2.0 * (slope.conj().T @ np.linalg.solve(cover, slope)).real
    covariance = np.linalg.inv(precision)
    mean = np.zeros(steps)
    first = max(0, steps - 1 - round(WINDOW_S / STEP_S))
    mean[steps - 1], mean[first] = 1.0, -1.0
    seconds = times[-1] - times[first]
    return float(np.sqrt(mean @ covariance @ mean) / seconds / turn)


def _course_covariance(times: NDArray[np.floating], turn: float) -> NDArray[np.float64]:
    """Of the phase: unknown, turning at an unknown rate, and wandering (second order)."""
    rate = 2.0 * np.pi * WANDER_HZ / np.sqrt(2.0)
    apart = rate * np.abs(np.subtract.outer(times, times))
    wander = (turn * WANDER_CENTS) ** 2 * np.exp(-apart) * (np.cos(apart) + np.sin(apart))
    summed = np.tril(np.ones((len(times), len(times)))) * STEP_S
    free = 100.0 + (20.0 * turn) ** 2 * np.outer(times, times)
    return np.asarray(summed @ wander @ summed.T + free + 1e-12 * np.eye(len(times)))


def _noise_density(hz: float) -> float:
    """Power a hertz beside a sound of unit power: half white, half wind (`tests.signals.wind`)."""
    rates = np.arange(1.0, RATE / 2)
    blown = 1.0 / (1.0 + (rates / 200.0) ** 2)
    density = 0.5 / (RATE / 2) + 0.5 / (1.0 + (hz / 200.0) ** 2) / blown.sum()
    return float(10.0 ** (-SNR_DB / 10.0) * density)


def _errors(hz: float, end_s: float, trials: int) -> NDArray[np.float64]:
    """Errors of the look through the room, the same over its σ, and errors of the plain look."""
    rows = []
    for trial in range(trials):
        rng = np.random.default_rng([77, trial, round(hz)])
        own_hz = hz * 2.0 ** (rng.uniform(-20.0, 20.0) / 1200.0)
        made = note(own_hz, KINDS[trial % 3], rng, seconds=end_s + 0.1)
        sound = made.samples[: round(end_s * RATE), 0].astype(np.float32)
        near_hz = own_hz * 2.0 ** (rng.normal(0.0, 0.1) / 1200.0)
        seen = room_look(sound, RATE, near_hz, WINDOW_S)
        begin_s = end_s / 3.0
        plain = steady_look(sound[round(begin_s * RATE) :], RATE, near_hz)
        if seen is None or plain is None:
            continue
        error = 1200.0 * np.log2(seen.hz / made.mean_hz(end_s - WINDOW_S, end_s))
        other = 1200.0 * np.log2(plain.hz / made.mean_hz(begin_s, end_s))
        rows.append((error, error / seen.sigma_cents, other))
    return np.array(rows)


def main() -> None:
    print("half a second, from the key going down; 95 % within, cents")
    print("      Hz  heard  notes   bound   through the room   in 2σ   plain look")
    for hz in (700.0, 1046.5, 2093.0, 4186.0):
        for end_s in (0.7, 1.0, 1.3):
            draws = [
                bound_sigma_cents(hz, KINDS[n % 3], end_s, np.random.default_rng([5, n]))
                for n in range(24)
            ]
            normal = np.random.default_rng(3).standard_normal((400, len(draws)))
            bound = float(np.quantile(np.abs(normal * np.array(draws)), 0.95))
            error, z, plain = np.abs(_errors(hz, end_s, 60)).T
            print(
                f"{hz:8.1f}{end_s:6.1f}s{len(error):7d}{bound:8.4f}"
                f"{np.quantile(error, 0.95):19.4f}{np.mean(z < 2.0):8.0%}"
                f"{np.quantile(plain, 0.95):13.4f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
