"""Realistic notes of 4 s, side by side with other methods: accuracy and speed as ratios.

Notes of `tests.signals`: attack, reverberation 2.5 s, wind, hum −35 dB, wander 0.1 cent, 30 dB.
Every method gets the same samples and is asked for one frequency: the median of its frames within
the window that the reading reports, where it works in frames; the search is narrowed to a third
above and below where it can be. The truth is the pipe's own mean frequency in that window. Errors
of more than 50 cents count as failures and stand in the quantiles. Asked: 95 % within .03 cent to
33 Hz and .01 cent from 65 Hz, and the best of the others at least 5 times worse in the median.
The limit is the Cramér–Rao bound of the steady partials in their noise, were the pipe's frequency
and the room not to move at all: nobody can be nearer, and with wander nobody comes near it.
What stands in the way is seen by taking noise, room and wander away in turn. Run: python -m bench
notes
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from tests.signals import KINDS, Note, note

from walkboard.listening.measure import measure_hold
from walkboard.listening.types import Comb
from walkboard.quantities import CENTS_PER_NEPER

PITCHES_HZ = (16.35, 32.7, 65.4, 130.8, 261.6, 1046.5, 4186.0, 8372.0)
RATE = 48_000
SECONDS = 4.0
SEED = 97
Sound = NDArray[np.float64]
FloatArray = NDArray[np.float64]
Peer = Callable[[Sound, float], float]


def librosa_yin(sound: Sound, hz: float) -> float:
    import librosa

    frame = int(2 ** np.ceil(np.log2(max(2048.0, 4.0 * RATE / hz))))
    found = librosa.yin(sound, fmin=hz / 1.25, fmax=hz * 1.25, sr=RATE, frame_length=frame)
    return float(np.median(found))


def librosa_pyin(sound: Sound, hz: float) -> float:
    import librosa

    frame = int(2 ** np.ceil(np.log2(max(2048.0, 4.0 * RATE / hz))))
    found, _, _ = librosa.pyin(
        sound,
        fmin=hz / 1.25,
        fmax=hz * 1.25,
        sr=RATE,
        frame_length=frame,
        resolution=0.01,
        fill_na=None,
    )
    return float(np.nanmedian(found))


def praat(sound: Sound, hz: float) -> float:
    import parselmouth

    pitch = parselmouth.Sound(sound, RATE).to_pitch_ac(
        pitch_floor=hz / 1.25, pitch_ceiling=hz * 1.25, very_accurate=True
    )
    found = pitch.selected_array["frequency"]
    return float(np.median(found[found > 0.0]))


def aubio_yinfft(sound: Sound, hz: float) -> float:
    import aubio

    frame = int(2 ** np.ceil(np.log2(max(4096.0, 6.0 * RATE / hz))))
    hop = frame // 4
    detector = aubio.pitch("yinfft", frame, hop, RATE)
    detector.set_unit("Hz")
    single = sound.astype(np.float32)
    found = [
        float(detector(single[at : at + hop])[0]) for at in range(0, len(single) - hop + 1, hop)
    ]
    return float(np.median(found[4:]))


def long_fft(sound: Sound, hz: float) -> float:
    """Peak of one Hann-windowed FFT, four times padded, by a parabola through the logarithms."""
    length = int(scipy.fft.next_fast_len(4 * len(sound), real=True))
    power = np.abs(scipy.fft.rfft(sound * np.hanning(len(sound)), length))
    low, high = int(hz / 1.05 * length / RATE), int(hz * 1.05 * length / RATE) + 2
    peak = low + int(np.argmax(power[low:high]))
    a, b, c = np.log(power[peak - 1 : peak + 2] + 1e-30)
    return float((peak + 0.5 * (a - c) / (a - 2.0 * b + c)) * RATE / length)


PEERS: dict[str, Peer] = {
    "librosa yin": librosa_yin,
    "librosa pyin": librosa_pyin,
    "Praat autocorrelation": praat,
    "aubio yinfft": aubio_yinfft,
    "one long FFT": long_fft,
}
SLOW = {"librosa pyin"}  # on every third note only
TRIALS = 40  # of each pitch and kind
PEER_TRIALS = 15
LIMIT_TRIALS = 20


def noise_density(hz: FloatArray, snr_db: float) -> FloatArray:
    """One-sided power density of the noise of `tests.signals.note` [1/Hz]."""
    grid = np.linspace(0.0, RATE / 2.0, 200_001)
    blown = np.trapezoid(1.0 / (1.0 + (grid / 200.0) ** 2), grid)
    half = 0.5 / (1.0 + (hz / 200.0) ** 2) / blown
    return np.asarray(0.1**2 * 10.0 ** (-snr_db / 10.0) * (1.0 / RATE + half))


def least_sigma_cents(clean: Note, hz: float, window_s: tuple[float, float]) -> float:
    """Cramér–Rao bound of a note without its noise, 30 dB of which come to it [cents].

    A tone of peak amplitude A in noise of density S over T seconds: var f ≥ 3 S/(π² A² T³) (Kay
    1993, Fundamentals of Statistical Signal Processing, eq. 3.41, from memory; S = 2σ²/rate).
    Partials add up their information, each with the square of its number.
    """
    first, last = (int(t * RATE) for t in window_s)
    seconds = (last - first) / RATE
    turns = np.exp(-2j * np.pi * clean.cycles[first:last])
    sound = clean.samples[first:last, 0]
    number = np.arange(1.0, max(2, min(56, int(10_000.0 / hz)) + 1))
    power = np.ones(len(turns), complex)
    size = np.zeros(len(number))
    for at in range(len(number)):
        power *= turns
        size[at] = 2.0 * abs(np.mean(sound * power))
    density = noise_density(number * hz, 30.0)
    known = (number**2 * np.pi**2 * size**2 * seconds**3 / (3.0 * density)).sum()
    return float(CENTS_PER_NEPER / (hz * np.sqrt(known)))


def study(trials: int) -> None:
    errors: dict[str, dict[float, list[float]]] = {}
    kinds: dict[tuple[str, float], list[float]] = {}
    bounds: dict[tuple[str, float], list[float]] = {}
    spent: dict[str, float] = {}
    heard_s: dict[str, float] = {}

    def take(name: str, pitch: float, error: float, seconds: float) -> None:
        missed = not np.isfinite(error)
        errors.setdefault(name, {}).setdefault(pitch, []).append(np.inf if missed else abs(error))
        spent[name] = spent.get(name, 0.0) + seconds
        heard_s[name] = heard_s.get(name, 0.0) + SECONDS

    for pitch in PITCHES_HZ:
        for trial in range(trials):
            for kind in KINDS:
                seeds = [SEED, trial, round(pitch), KINDS.index(kind)]
                rng = np.random.default_rng(seeds)
                hz = pitch * 2.0 ** (rng.uniform(-20.0, 20.0) / 1200.0)
                made = note(hz, kind, rng, seconds=SECONDS, sample_rate=RATE)
                begun = time.process_time()
                (reading,) = measure_hold(made.samples, RATE, [Comb("", pitch)])
                lasted = time.process_time() - begun
                truth = made.mean_hz(reading.start_s, reading.end_s)
                error = 1200.0 * np.log2((reading.hz_or_none or np.inf) / truth)
                take("Walkboard", pitch, error, lasted)
                kinds.setdefault((kind, pitch), []).append(abs(error))
                rng = np.random.default_rng(seeds)
                rng.uniform()
                clean = note(hz, kind, rng, seconds=SECONDS, snr_db=400.0, hum_db=None)
                window_s = (reading.start_s, reading.end_s)
                bounds.setdefault((kind, pitch), []).append(least_sigma_cents(clean, hz, window_s))
                if trial >= PEER_TRIALS:
                    continue
                first, last = int(reading.start_s * RATE), int(reading.end_s * RATE)
                sound = np.ascontiguousarray(made.samples[first:last, 0])
                for name, peer in PEERS.items():
                    if name in SLOW and trial % 3:
                        continue
                    begun = time.process_time()
                    try:
                        with warnings.catch_warnings():
                            warnings.simplefilter("ignore")
                            found = peer(sound, pitch)
                    except Exception:  # a peer that cannot take the note has failed on it
                        found = np.nan
                    lasted = time.process_time() - begun
                    near = found > 0.0 and abs(1200.0 * np.log2(found / truth)) < 50.0
                    take(name, pitch, 1200.0 * np.log2(found / truth) if near else np.inf, lasted)
    show(errors, kinds, bounds, spent, heard_s)


def what_limits(trials: int) -> dict[str, dict[float, list[float]]]:
    """Errors with one of the troubles taken away: what keeps values from the truth."""
    scenes: dict[str, dict[str, Any]] = {
        "no noise": {"snr_db": 100.0, "hum_db": None},
        "no room": {"reverberation_s": 0.0},
        "no wander": {"wander_cents": 0.0},
    }
    found: dict[str, dict[float, list[float]]] = {}
    for name, given in scenes.items():
        for pitch in PITCHES_HZ:
            errors = found.setdefault(name, {}).setdefault(pitch, [])
            for trial in range(trials):
                for kind in KINDS:
                    rng = np.random.default_rng([SEED, trial, round(pitch), KINDS.index(kind)])
                    hz = pitch * 2.0 ** (rng.uniform(-20.0, 20.0) / 1200.0)
                    made = note(hz, kind, rng, seconds=SECONDS, sample_rate=RATE, **given)
                    (reading,) = measure_hold(made.samples, RATE, [Comb("", pitch)])
                    truth = made.mean_hz(reading.start_s, reading.end_s)
                    hz = reading.hz_or_none or np.inf  # refused: beyond every bound
                    errors.append(float(abs(1200.0 * np.log2(hz / truth))))
    return found


def show(
    errors: dict[str, dict[float, list[float]]],
    kinds: dict[tuple[str, float], list[float]],
    bounds: dict[tuple[str, float], list[float]],
    spent: dict[str, float],
    heard_s: dict[str, float],
) -> None:
    def table(title: str, rows: dict[str, dict[float, float]]) -> None:
        print(f"\n{title:24s}" + "".join(f"{pitch:>9.0f}" for pitch in PITCHES_HZ))
        for name, row in rows.items():
            print(f"{name:24s}" + "".join(f"{row[pitch]:9.4f}" for pitch in PITCHES_HZ))

    def at(quantile: float) -> dict[str, dict[float, float]]:
        return {
            name: {p: float(np.quantile(e, quantile, method="higher")) for p, e in row.items()}
            for name, row in errors.items()
        }

    median = at(0.5)
    table("median error, cents", median)
    table("95 % within, cents", at(0.95))
    by_kind: dict[str, dict[float, float]] = {}
    for (kind, pitch), values in kinds.items():
        by_kind.setdefault(kind, {})[pitch] = float(np.quantile(values, 0.95, method="higher"))
    table("Walkboard, 95 % within", by_kind)
    limits: dict[str, dict[float, float]] = {}
    for (kind, pitch), sigmas in bounds.items():
        # 95 % of errors of the bound's spread, which differs from note to note
        spread = np.random.default_rng(SEED).normal(size=(2_000, 1)) * np.array(sigmas)
        limits.setdefault(kind, {})[pitch] = float(np.quantile(np.abs(spread), 0.95))
    table("limit, if nothing moved", limits)
    lifted = {
        name: {p: float(np.quantile(e, 0.95, method="higher")) for p, e in row.items()}
        for name, row in what_limits(LIMIT_TRIALS).items()
    }
    table("95 % within, were there", lifted)
    print("\nbest other / Walkboard, by the median error")
    for pitch in PITCHES_HZ:
        name = min(PEERS, key=lambda name: median[name][pitch])
        print(f"{pitch:9.1f} Hz: {median[name][pitch] / median['Walkboard'][pitch]:6.1f}  ({name})")
    print("\nspeed on one core, the window's sound for the others, the whole hold for Walkboard")
    own = heard_s["Walkboard"] / spent["Walkboard"]
    for name in errors:
        speed = heard_s[name] / spent[name]
        print(f"{name:24s}{speed:8.0f} × real time{own / speed:8.2f} Walkboard / it")


def main() -> None:
    study(TRIALS)


if __name__ == "__main__":
    main()
