"""Loudness and colour of stops in two rooms at four positions: where the guide's words agree.

Nine invented stops (level and slope of their partials drawn by lot, each partial and pipe off by
its own 2 dB) are heard at every third key in a church (4.5 s) and a hall (1.4 s), at four positions
each, from near (direct sound 3 dB over the rest) to far (9 dB under it). Each stop has a response
of its own at each position, as it is at another place. The figures are those of the guide
(`walkboard.work.guide.figures`). A word (louder, softer, brighter, darker) agrees if every other
room and position that says anything says the same. Run: python -m bench stop_figures
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from walkboard.demo.synthesiser.room import Room, impulse_response
from walkboard.work.guide.clips import RATE_HZ
from walkboard.work.guide.figures import KeySound, StopFigures, compared, key_sound

SEED, STOPS, KEYS = 19, 9, range(48, 85, 3)
ROOMS = {"church": Room(t60_s=4.5), "hall": Room(t60_s=1.4)}
DIRECT_DB = (3.0, -1.0, -5.0, -9.0)
HELD_S, FROM_S, TO_S = 2.4, 0.8, 1.4

Samples = NDArray[np.float64]


def main() -> None:
    random = np.random.default_rng(SEED)
    levels = random.uniform(-8.0, 8.0, STOPS)
    slopes = random.uniform(-12.0, -3.0, STOPS)
    sounds = {
        (stop, key): _tone(key, levels[stop], slopes[stop], random)
        for stop in range(STOPS)
        for key in KEYS
    }
    cells: list[dict[str, StopFigures]] = []
    for name, room in ROOMS.items():
        for direct in DIRECT_DB:
            cells.append(_figures(sounds, room, direct, random))
            print(f"{name}, direct {direct:+.0f} dB: heard", flush=True)
    _judge(cells)


def _tone(key: int, level: float, slope: float, random: np.random.Generator) -> Samples:
    hz = 440.0 * 2.0 ** ((key - 69) / 12.0)
    time = np.arange(round(HELD_S * RATE_HZ)) / RATE_HZ
    sound = np.zeros_like(time)
    for n in range(1, min(20, int(10_000.0 / hz)) + 1):
        db = level + slope * np.log2(n) + random.normal(0.0, 2.0)
        phase = random.uniform(0.0, 2.0 * np.pi)
        sound += 10.0 ** (db / 20.0) * np.sin(2.0 * np.pi * n * hz * time + phase)
    return sound


def _figures(
    sounds: dict[tuple[int, int], Samples],
    room: Room,
    direct: float,
    random: np.random.Generator,
) -> dict[str, StopFigures]:
    heard: dict[str, dict[int, KeySound]] = {}
    there = Room(t60_s=room.t60_s, direct_over_reverberant_db=direct)
    for (stop, key), sound in sounds.items():
        response = impulse_response(there, RATE_HZ, 1, random)[:, 0].astype(np.float64)
        wet = fftconvolve(sound, response)[round(FROM_S * RATE_HZ) : round(TO_S * RATE_HZ)]
        found = key_sound(wet, 440.0 * 2.0 ** ((key - 69) / 12.0))
        if found is not None:
            heard.setdefault(str(stop), {})[key] = found
    return compared(heard)


def _judge(cells: list[dict[str, StopFigures]]) -> None:
    loudness = [[cell[str(stop)].louder_db for stop in range(STOPS)] for cell in cells]
    slope = [[cell[str(stop)].brighter_db or 0.0 for stop in range(STOPS)] for cell in cells]
    for words, table in (("loudness, dB", loudness), ("slope, dB an octave", slope)):
        values = np.array(table, dtype=np.float64)
        away = values - np.median(values, axis=0)
        spread, worst = away.std(), abs(away).max()
        print(f"{words}: spread of a stop over the eight {spread:.2f}, worst {worst:.2f}")
        for limit in (0.0, 1.0, 1.5, 2.0):
            said = np.where(abs(values) >= limit, np.sign(values), 0.0)
            both = [(s > 0).any() and (s < 0).any() for s in said.T]
            print(
                f"  from {limit:.1f}: said in {np.mean(said != 0.0):.2f} of cases,"
                f" of {sum((s != 0).any() for s in said.T)} stops {sum(both)} said both ways"
            )
