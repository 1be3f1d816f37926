"""A harmonic tone in white noise: how near the joint estimate comes to the Cramér–Rao bound.

Partials 1/l, at most eight, 4 s at 48 kHz; the bound is that of the window the reading reports.
Signal-to-noise ratio is that of all partials together over the noise of the whole band, a sample.
Asked: ratio of the root mean square error to the bound at most 1.15 (the scatter of 200 trials is
±5 %), and no gross error (over 10 cents). Run: python -m bench white_noise
"""

from __future__ import annotations

import numpy as np
from tests.published.cramer_rao import harmonic_omega_variance
from tests.signals import tone

from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import Measured
from walkboard.listening.types import Comb

PITCHES_HZ = (16.35, 65.4, 440.0, 2093.0, 8372.0)
SNRS_DB = (-20, -10, 0, 10, 20, 30, 40, 50, 60)
RATE = 48_000
SEED = 41


def cell(hz: float, snr_db: int, trials: int) -> tuple[float, float, int]:
    """Error over bound, stated σ over bound, and gross errors or refusals."""
    count = max(1, min(8, int(0.45 * RATE / hz)))
    amplitudes = 1.0 / np.arange(1, count + 1)
    noise = np.sqrt(0.5 * np.sum(amplitudes**2)) * 10.0 ** (-snr_db / 20.0)
    ratios, stated, gross = [], [], 0
    for trial in range(trials):
        rng = np.random.default_rng([SEED, trial, round(hz), snr_db + 100])
        true_hz = hz * 2.0 ** (rng.uniform(-20.0, 20.0) / 1200.0)
        sound, _ = tone(true_hz, amplitudes, 4.0, RATE, rng)
        sound = sound + noise * rng.standard_normal(len(sound))
        (reading,) = measure_hold(sound[:, np.newaxis], RATE, [Comb("", hz)])
        if not isinstance(reading, Measured):
            gross += 1
            continue
        samples = round((reading.end_s - reading.start_s) * RATE)
        variance = harmonic_omega_variance(samples, amplitudes, noise)
        bound_hz = np.sqrt(variance) * RATE / (2.0 * np.pi)
        error_hz = reading.hz - true_hz
        gross += abs(error_hz) > true_hz * 10.0 / 1731.0
        ratios.append(error_hz / bound_hz)
        stated.append(reading.sigma_cents * true_hz * np.log(2.0) / 1200.0 / bound_hz)
    return float(np.sqrt(np.mean(np.square(ratios)))), float(np.median(stated)), gross


def study(trials: int) -> None:
    print(f"{trials} trials a cell: error / bound (stated σ / bound), gross errors")
    print(f"{'Hz':>8s}" + "".join(f"{snr:>6d} dB    " for snr in SNRS_DB))
    for hz in PITCHES_HZ:
        cells = [cell(hz, snr, trials) for snr in SNRS_DB]
        row = "".join(f"{error:5.2f} ({stated:4.2f}) {gross:d}" for error, stated, gross in cells)
        print(f"{hz:8.1f}{row}", flush=True)


def main() -> None:
    study(200)


if __name__ == "__main__":
    main()
