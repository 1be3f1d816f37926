"""How often the truth lies within two stated standard deviations, scene by scene.

Notes of `tests.signals` (4 s, reverberation 2.5 s, wind, hum −35 dB), pitch and kind in turn, for
each wander and signal-to-noise ratio. Asked: 92 to 98 % in every scene. Run: python -m bench
coverage.
"""

from __future__ import annotations

import numpy as np
from tests.signals import KINDS, note

from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import Measured
from walkboard.listening.types import Comb

PITCHES_HZ = (16.35, 32.7, 65.4, 130.8, 261.6, 523.3, 1046.5, 2093.0, 4186.0, 8372.0)
WANDERS_CENTS = (0.0, 0.05, 0.1, 0.2, 0.5)
SNRS_DB = (5, 15, 30, 45, 60)
SEED = 20_261


def study(count: int) -> None:
    scenes: dict[tuple[str, str], list[tuple[float, float]]] = {}
    refused: dict[tuple[str, str], int] = {}
    for wander in WANDERS_CENTS:
        for snr in SNRS_DB:
            for turn in range(count):
                rng = np.random.default_rng([SEED, turn, snr, round(1000 * wander)])
                pitch = PITCHES_HZ[turn % len(PITCHES_HZ)]
                kind = KINDS[turn // len(PITCHES_HZ) % len(KINDS)]
                hz = pitch * 2.0 ** (rng.uniform(-20.0, 20.0) / 1200.0)
                cutoff_hz = float(rng.choice([0.25, 0.5, 1.0]))
                made = note(hz, kind, rng, snr_db=snr, wander_cents=wander, cutoff_hz=cutoff_hz)
                (reading,) = measure_hold(made.samples, made.sample_rate, [Comb("", pitch)])
                keys = [
                    ("wander", f"{wander} cent"),
                    ("SNR", f"{snr} dB"),
                    ("pitch", f"{pitch} Hz"),
                    ("kind", kind),
                    ("scene", f"{wander} cent {snr} dB"),
                    ("all", ""),
                ]
                if not isinstance(reading, Measured):
                    for key in keys:
                        refused[key] = refused.get(key, 0) + 1
                    continue
                truth = made.mean_hz(reading.start_s, reading.end_s)
                error = 1200.0 * np.log2(reading.hz / truth)
                for key in keys:
                    scenes.setdefault(key, []).append((error, reading.sigma_cents))
    print(f"{'':24s}{'notes':>6s}{'none':>6s}{'in 2σ':>8s}{'rms z':>8s}{'σ med':>9s}{'95 %':>9s}")
    for key in sorted(scenes, key=lambda key: (key[0] == "all", key[0])):
        error, sigma = np.array(scenes[key]).T
        z = error / sigma
        inside = 100.0 * np.mean(np.abs(z) < 2.0)
        print(
            f"{key[0]:7s}{key[1]:17s}{len(z):6d}{refused.get(key, 0):6d}{inside:7.1f}%"
            f"{np.sqrt(np.mean(z**2)):8.2f}{np.median(sigma):9.4f}"
            f"{np.quantile(np.abs(error), 0.95):9.4f}"
        )


def main() -> None:
    study(300)


if __name__ == "__main__":
    main()
