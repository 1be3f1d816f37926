"""Speech, traffic and music, for recordings that are not a walk."""

from __future__ import annotations

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from bench._situations.player import Player
from bench._sounding import RATE_HZ, Sounding, render
from walkboard.organ.model import PipeRef


def speech(seconds: float, rng: np.random.Generator) -> NDArray[np.float64]:
    count = int(seconds * RATE_HZ)
    total = np.zeros(count)
    at = 0.3
    while at < seconds - 1.0:
        length = float(rng.uniform(0.08, 0.35))
        n = int(length * RATE_HZ)
        times = np.arange(n) / RATE_HZ
        if rng.random() < 0.75:
            f0 = float(rng.uniform(90.0, 220.0)) * 2.0 ** (rng.uniform(-0.4, 0.4) * times / length)
            phase = 2.0 * np.pi * np.cumsum(f0) / RATE_HZ
            source = np.exp(25.0 * (np.cos(phase) - 1.0))
            for formant in rng.uniform([300.0, 900.0, 2_200.0], [800.0, 2_000.0, 3_000.0]):
                r = 0.985
                theta = 2.0 * np.pi * formant / RATE_HZ
                source = scipy.signal.lfilter(
                    [1.0 - r], [1.0, -2.0 * r * np.cos(theta), r * r], source
                )
        else:
            source = 0.1 * scipy.signal.lfilter([1.0, -0.9], [1.0], rng.standard_normal(n))
        first = int(at * RATE_HZ)
        part = source * np.hanning(n)
        total[first : first + n] += part / (np.sqrt(np.mean(part**2)) + 1e-9)
        at += length + (float(rng.uniform(0.3, 1.0)) if rng.random() < 0.12 else 0.02)
    return total


def traffic(count: int, rng: np.random.Generator) -> NDArray[np.float64]:
    b, a = scipy.signal.butter(2, 250.0 / (0.5 * RATE_HZ))
    roar = scipy.signal.lfilter(b, a, rng.standard_normal(count)) * 12.0
    swell = np.interp(
        np.arange(count),
        np.arange(0, count + RATE_HZ * 3, RATE_HZ * 3),
        rng.uniform(0.1, 1.0, count // (RATE_HZ * 3) + 2)[
            : len(np.arange(0, count + RATE_HZ * 3, RATE_HZ * 3))
        ],
    )
    rpm = np.interp(np.arange(count), np.linspace(0, count, 12), rng.uniform(25.0, 60.0, 12))
    engine = np.exp(8.0 * (np.cos(2.0 * np.pi * np.cumsum(rpm) / RATE_HZ) - 1.0))
    return np.asarray(swell * (roar + engine - engine.mean()))


def music(p: Player, seconds: float) -> NDArray[np.float32]:
    rng = p.rng
    every: list[Sounding] = []
    at = 0.5
    beat = float(rng.uniform(0.45, 0.9))
    voices = np.array([30, 22, 16, 4]) if rng.random() < 0.7 else np.array([25, 12])
    place = voices.astype(float)
    while at < seconds - 2.0:
        for voice in range(len(voices)):
            place[voice] = np.clip(place[voice] + rng.integers(-3, 4), 0, 35)
            length = beat * float(rng.choice([0.5, 1.0, 1.0, 2.0])) - 0.04
            every.append(
                p.sounding(PipeRef("great.principal8", int(place[voice]) + 1), at, at + length)
            )
        at += beat
    return render(every, seconds, p.wind, p.room, rng)
