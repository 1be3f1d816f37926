"""The joint measurement beside general methods on the same holds of several pipes.

Holds as in `bench.registrations` ("plain", 4 s), each read by

* the joint measurement, which withholds what it cannot tell apart;
* a peak picker: one FFT of the hold, Blackman-Harris window, four times longer than the sound, the
  highest peaks near each place where fundamentals are due, placed by a parabola through three bins;
* ESPRIT (Roy & Kailath, IEEE Trans. ASSP 37, 984-995, 1989; least squares, one snapshot as a Hankel
  matrix) in the sub-band about each such place. No general-purpose library that we use has it, so
  it is written out here.

The two others look at one partial of each pipe: the lowest that no other pipe drawn has within 30
cents, else its fundamental, and know how many pipes sound there. Neither knows names, so what they
find is given to the pipes in the way that is nearest to the truth, which flatters them. They do not
say when they cannot tell. Run: python -m bench joint_peers
"""

from __future__ import annotations

import math
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from itertools import permutations

import numpy as np
from numpy.typing import NDArray
from tests.registrations import RATE, mean_hz, scene

from bench.registrations import BASES_HZ, HINT, REGISTRATIONS, rows_of_mixture
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import Measured
from walkboard.listening.types import Comb
from walkboard.quantities import cents_of_ratio, ratio_of_cents

SEED = 90_210
SECONDS = 4.0
FROM_S = 0.5  # where the others begin: the pipe speaks and the room fills
NEAR_CENTS = 30.0  # that a partial may stand from where it is due: detunings are cut at 15
_HIGHEST_PARTIAL = 12
Finder = Callable[[NDArray[np.float64], float, int], list[float]]


def places(due_hz: Sequence[float]) -> list[tuple[float, list[tuple[int, int]], int]]:
    """Where to look: a frequency, the pipes read there with their partial, and how many sound."""
    found: list[tuple[float, list[tuple[int, int]], int]] = []
    for pipe, hz in enumerate(due_hz):
        alone = (n for n in range(1, _HIGHEST_PARTIAL + 1) if len(_near(due_hz, n * hz)) == 1)
        number = next(alone, 1)
        sounding = len(_near(due_hz, number * hz))
        for place, members, _ in found:
            if sounding > 1 and abs(cents_of_ratio(hz / place)) < NEAR_CENTS:
                members.append((pipe, number))
                break
        else:
            found.append((number * hz, [(pipe, number)], sounding))
    return found


def _near(due_hz: Sequence[float], hz: float) -> list[int]:
    """The pipes that have a partial near a frequency."""
    return [
        pipe
        for pipe, each in enumerate(due_hz)
        if round(hz / each) >= 1 and abs(cents_of_ratio(hz / each / round(hz / each))) < NEAR_CENTS
    ]


def by_peaks(samples: NDArray[np.float64], near_hz: float, count: int) -> list[float]:
    """The `count` highest peaks of one long FFT near a frequency [Hz]."""
    size = 4 * len(samples)
    power = np.log(np.abs(np.fft.rfft(samples * _blackman_harris(len(samples)), size)) + 1e-300)
    reach = near_hz * (ratio_of_cents(NEAR_CENTS) - 1.0) + 1.0
    low, high = (round((near_hz + sign * reach) * size / RATE) for sign in (-1.0, 1.0))
    inside = np.arange(max(low, 1), high + 1)
    tops = inside[(power[inside] > power[inside - 1]) & (power[inside] >= power[inside + 1])]
    tops = tops[np.argsort(-power[tops])][:count]
    found = []
    for top in tops:
        left, middle, right = power[top - 1 : top + 2]
        found.append(
            float((top + 0.5 * (left - right) / (left - 2 * middle + right)) * RATE / size)
        )
    return (found * count)[:count] if found else [near_hz] * count


def _blackman_harris(size: int) -> NDArray[np.float64]:
    turn = 2.0 * np.pi * np.arange(size) / size
    weights = (0.35875, -0.48829, 0.14128, -0.01168)  # Harris 1978, 4 terms, -92 dB
    window: NDArray[np.float64] = sum(
        (w * np.cos(k * turn) for k, w in enumerate(weights)), np.zeros(size)
    )
    return window


def by_esprit(samples: NDArray[np.float64], near_hz: float, count: int) -> list[float]:
    """The `count` strongest of ESPRIT's frequencies in the sub-band about a frequency [Hz]."""
    reach = near_hz * (ratio_of_cents(NEAR_CENTS) - 1.0) + 2.0
    bins = np.arange(*(round((near_hz + s * 2.0 * reach) * len(samples) / RATE) for s in (-1, 1)))
    away = np.abs(bins * RATE / len(samples) - near_hz)
    taper = np.clip(2.0 - away / reach, 0.0, 1.0)
    band = np.fft.ifft(np.fft.rfft(samples)[bins] * np.sin(0.5 * np.pi * taper) ** 2)
    rate = len(band) * RATE / len(samples)
    order = count + 1  # one more for what the room and the wind add
    rows = len(band) // 2
    hankel = np.lib.stride_tricks.sliding_window_view(band, rows).T
    signal = np.linalg.svd(hankel, full_matrices=False)[0][:, :order]
    turns = np.linalg.eigvals(np.linalg.lstsq(signal[:-1], signal[1:], rcond=None)[0])
    lines = np.exp(1j * np.outer(np.arange(len(band)), np.angle(turns)))
    strength = np.abs(np.linalg.lstsq(lines, band, rcond=None)[0])
    offset = np.angle(turns) / (2.0 * np.pi) * rate
    hz = bins[0] * RATE / len(samples) + np.mod(offset, rate)
    return [float(each) for each in hz[np.argsort(-strength)][:count]]


def read(finder: Finder, samples: NDArray[np.float64], due_hz: Sequence[float],
         true_hz: Sequence[float]) -> list[float]:  # fmt: skip
    """Errors of every pipe [cents]."""
    errors = [math.inf] * len(due_hz)
    heard = samples[round(FROM_S * RATE) :, 0]
    for near_hz, members, sounding in places(due_hz):
        found = finder(heard, near_hz, sounding)
        ways = [
            [
                cents_of_ratio(hz / n / true_hz[pipe])
                for hz, (pipe, n) in zip(way, members, strict=True)
            ]
            for way in permutations(found, len(members))
        ]
        best = min(ways, key=lambda way: sum(map(abs, way)))
        for (pipe, _), error in zip(members, best, strict=True):
            errors[pipe] = error
    return errors


def line(title: str, errors: Sequence[float | None], spent_s: float, holds: int) -> str:
    given = np.abs([error for error in errors if error is not None])
    withheld = 100.0 * (1.0 - len(given) / len(errors))
    return (
        f"  {title:12}{len(errors):6}{np.median(given):9.4f}{np.quantile(given, 0.95):9.3f}"
        f"{100 * np.mean(given > 0.1):9.1f}{100 * np.mean(given > 1.0):8.1f}{withheld:10.1f}"
        f"{1000 * spent_s / holds:9.0f}"
    )


def main(holds: int = 8) -> None:
    print(
        f"{'':14}{'pipes':>6}{'median':>9}{'95 %':>9}{'>.1 c %':>9}{'>1 c %':>8}{'withheld %':>11}"
        f"{'ms a hold':>10}"
    )
    finders: dict[str, Finder] = {"long FFT": by_peaks, "ESPRIT": by_esprit}
    everything: dict[str, list[float | None]] = {}
    spent_in_all: dict[str, float] = defaultdict(float)
    for row, (name, made) in enumerate(REGISTRATIONS.items()):
        errors: dict[str, list[float | None]] = {}
        spent: dict[str, float] = dict.fromkeys(("joint", *finders), 0.0)
        for turn in range(holds):
            base = BASES_HZ[turn % len(BASES_HZ)]
            due = tuple(m * base for m in made.multiples or rows_of_mixture(base))
            samples, courses = scene(
                due,
                made.kinds,
                np.random.default_rng([SEED, row, turn]),
                seconds=SECONDS,
                faintest_db=-18.0,
                wander_cents=0.1,
            )
            combs = [
                Comb(str(n), hz, HINT[k])
                for n, (hz, k) in enumerate(zip(due, made.kinds, strict=True))
            ]
            begun = time.process_time()
            readings = measure_hold(samples, RATE, combs)
            spent["joint"] += time.process_time() - begun
            errors.setdefault("joint", []).extend(
                None
                if not isinstance(r, Measured)
                else cents_of_ratio(r.hz / mean_hz(course, r.start_s, r.end_s))
                for r, course in zip(readings, courses, strict=True)
            )
            true_hz = [mean_hz(course, FROM_S, SECONDS) for course in courses]
            for title, finder in finders.items():
                begun = time.process_time()
                errors.setdefault(title, []).extend(read(finder, samples, due, true_hz))
                spent[title] += time.process_time() - begun
        print(name)
        for title, of in errors.items():
            everything.setdefault(title, []).extend(of)
            spent_in_all[title] += spent[title]
            print(line(title, of, spent[title], holds), flush=True)
    print("all")
    for title, of in everything.items():
        print(line(title, of, spent_in_all[title], holds * len(REGISTRATIONS)), flush=True)


if __name__ == "__main__":
    main()
