"""Pipes, a room and their mishaps, made without a line of `demo.practice` or `tests.signals`.

Source and filter: a jet (a sine of the pipe's phase) is switched by the pipe's lip, which is a
saturating curve, off centre by a little; the flow is differentiated and filtered by the pipe's end.
So the spectrum follows from the drive, and changes with it, as when a hand covers the mouth. Reeds
are pulse trains of von Mises shape. The jet's noise rings in the pipe's own resonances and comes in
puffs. All pipes share one wind; the phase of each diffuses a little, as that of any driven
oscillator. The room is sparse (velvet) noise under an exponential, convolved block by block.

Everything is common practice or from memory and only has to be unlike the program's own world.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.fft
import scipy.signal
from numpy.typing import NDArray

RATE = 48_000
BLOCK_S = 0.1
_STEP = 240  # samples between two values of a course: 5 ms

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Kind:
    """How a kind of pipe sounds.

    `drive` is the jet's swing over the lip's width, `centre` its offset; `pulses` above 0 is a reed
    whose pulses are so narrow; `noise_db` is the jet's noise under the tone.
    """

    drive: float
    centre: float
    end_hz: float
    noise_db: float
    speaks_s: float
    pulses: float = 0.0
    is_odd: bool = False


KINDS = {
    "principal": Kind(1.5, 0.35, 3500.0, -36.0, 0.04),
    "flute": Kind(0.7, 0.2, 2500.0, -30.0, 0.05),
    "stopped": Kind(1.3, 0.03, 2200.0, -31.0, 0.07),
    "string": Kind(3.2, 0.45, 5000.0, -33.0, 0.09),
    "reed": Kind(0.0, 0.0, 5000.0, -48.0, 0.025, pulses=14.0),
    "odd reed": Kind(0.0, 0.0, 4000.0, -48.0, 0.025, pulses=8.0, is_odd=True),
}


@dataclass
class JetPipe:
    """One pipe. Cents are against `target_hz`; `rest_cents` is where it will stand, cold, alone."""

    kind: Kind
    target_hz: float
    rest_cents: float
    rng: np.random.Generator
    level: float = 0.1
    held: bool = False
    #: What adds to where it stands [cents]: warmth of its wall and of its air, a hand's shade.
    wall_cents: float = 0.0
    air_cents: float = 0.0
    cools_s: float = 45.0
    shade: float = 0.0  # 0 free … 1 the hand is as near as it gets
    shade_goal: float = 0.0
    shade_cents: float = -25.0
    shade_db: float = 10.0
    goes_s: float = 0.12  # how fast it goes where it is moved
    now_cents: float = field(init=False)
    spoke_s: float = field(default=1e9, init=False)
    _phase: float = field(default=0.0, init=False)
    _level: float = field(default=0.0, init=False)
    _shade_shown: float = field(default=0.0, init=False)
    _ends: dict[str, Floats] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        self.now_cents = self.rest_cents
        rng = self.rng
        self._wander = [
            (rng.uniform(0.15, 0.9), rng.uniform(0.0, 6.28), rng.uniform(0.02, 0.07))
            for _ in range(3)
        ]
        self._onset_cents = rng.uniform(-12.0, 12.0)
        self._tremor = [(rng.uniform(0.7, 3.0), rng.uniform(0.0, 6.28)) for _ in range(2)]

    @property
    def is_quiet(self) -> bool:
        return not self.held and self._level < 1e-5

    @property
    def warm_cents(self) -> float:
        return self.wall_cents + self.air_cents

    def cool(self, seconds: float) -> None:
        self.wall_cents *= float(np.exp(-seconds / self.cools_s))
        self.air_cents *= float(np.exp(-seconds / (0.2 * self.cools_s)))

    def render(self, count: int, at_s: float, common_cents: Floats) -> tuple[Floats, Floats]:
        """The sound, and where it stands [cents] every 5 ms."""
        steps = count // _STEP
        step_s = _STEP / RATE
        times = at_s + step_s * np.arange(1, steps + 1)
        # pitch
        keep = np.exp(-step_s * np.arange(1, steps + 1) / self.goes_s)
        moved = self.rest_cents + (self.now_cents - self.rest_cents) * keep
        self.now_cents = float(moved[-1])
        keep = np.exp(-step_s * np.arange(1, steps + 1) / 0.15)
        shade = self.shade_goal + (self.shade - self.shade_goal) * keep
        self.shade = float(shade[-1])
        unsteady = 1.0 + 0.06 * sum(np.sin(6.28 * f * times + p) for f, p in self._tremor)
        shade = np.clip(shade * unsteady, 0.0, 1.2)
        wander = sum(a * np.sin(6.28 * f * times + p) for f, p, a in self._wander)
        onset = 0.0 * times
        if self.held:
            into = self.spoke_s + step_s * np.arange(1, steps + 1)
            onset = self._onset_cents * np.exp(-into / (1.2 * self.kind.speaks_s))
            self.spoke_s = float(into[-1])
        cents = moved + self.warm_cents + shade * self.shade_cents + wander + common_cents
        self.cool(count / RATE)
        course = np.repeat(cents + onset, _STEP)
        hz = self.target_hz * 2.0 ** (course / 1200.0)
        jitter = 2e-4 * self.rng.standard_normal(count)
        phase = self._phase + np.cumsum(2.0 * np.pi * hz / RATE + jitter)
        self._phase = float(phase[-1] % (2.0 * np.pi))
        # loudness
        goal = 1.0 if self.held else 0.0
        time_s = self.kind.speaks_s if self.held else 0.05
        fade = goal + (self._level - goal) * np.exp(-np.arange(1, count + 1) / RATE / time_s)
        self._level = float(fade[-1])
        dull = np.repeat(shade, _STEP)
        swing = fade * (1.0 - 0.35 * dull)
        kind = self.kind
        if kind.pulses:
            flow = self._reed(phase, fade)
        else:
            flow = np.tanh(kind.drive * swing * np.sin(phase) - kind.centre * fade)
            noise = self.rng.standard_normal(count) * 10.0 ** (kind.noise_db / 20.0)
            noise *= fade * (1.0 + 0.6 * np.sin(phase))
            flow = flow + 0.4 * noise + self._ring(noise)
        sound = self._filter("end", kind.end_hz, np.diff(flow, prepend=self._last(flow)))
        if dull.max() > 1e-3:
            covered = self._filter("hand", max(500.0, 1.5 * self.target_hz), sound)
            share = np.clip(dull, 0.0, 1.0)
            sound = sound * (1.0 - share) + share * covered
            sound *= 10.0 ** (-self.shade_db * dull / 20.0)
        scale = RATE / (2.0 * np.pi * self.target_hz)
        return self.level * scale * sound, cents

    def _reed(self, phase: Floats, fade: Floats) -> Floats:
        narrow = self.kind.pulses * (0.3 + 0.7 * fade)
        one = np.exp(narrow * (np.cos(phase) - 1.0))
        if self.kind.is_odd:
            one = one - np.exp(narrow * (-np.cos(phase) - 1.0))
        return np.asarray(1.3 * fade * one)

    def _ring(self, noise: Floats) -> Floats:
        """The jet's noise in the pipe's first resonances, which are not quite harmonic."""
        out = np.zeros(len(noise))
        for number in (1, 2, 3):
            hz = self.target_hz * number * (1.0 + 0.012 * (number - 1))
            if hz > 0.4 * RATE or (number == 2 and abs(self.kind.centre) < 0.1):
                continue
            key = f"ring {number}"
            b, a = scipy.signal.iirpeak(hz, 30.0, RATE)
            before = self._ends.get(key, np.zeros(2))
            ringing, self._ends[key] = scipy.signal.lfilter(b, a, noise, zi=before)
            out += 2.0 * ringing
        return out

    def _filter(self, name: str, hz: float, sound: Floats) -> Floats:
        pole = float(np.exp(-2.0 * np.pi * hz / RATE))
        before = self._ends.get(name, np.zeros(1))
        out, self._ends[name] = scipy.signal.lfilter([1.0 - pole], [1.0, -pole], sound, zi=before)
        return np.asarray(out)

    def _last(self, flow: Floats) -> float:
        before = self._ends.get("flow", np.array([flow[0]]))
        self._ends["flow"] = flow[-1:].copy()
        return float(before[0])


class VelvetRoom:
    """A room: sparse random echoes under an exponential, and the direct sound."""

    def __init__(self, seconds: float, direct_db: float, rng: np.random.Generator) -> None:
        count = int(0.9 * seconds * RATE)
        taps = np.zeros(count)
        at = np.unique(rng.integers(int(0.004 * RATE), count, count // 24))
        taps[at] = rng.choice([-1.0, 1.0], len(at)) * np.exp(-6.9 * at / RATE / seconds)
        taps /= np.sqrt((taps**2).sum())
        taps[0] = 10.0 ** (direct_db / 20.0)
        self._size = scipy.fft.next_fast_len(count + int(BLOCK_S * RATE), real=True)
        self._taps = scipy.fft.rfft(taps, self._size)
        self._tail = np.zeros(self._size)

    def hear(self, sound: Floats) -> Floats:
        wet = scipy.fft.irfft(scipy.fft.rfft(sound, self._size) * self._taps, self._size)
        self._tail += wet
        out = self._tail[: len(sound)].copy()
        self._tail = np.concatenate([self._tail[len(sound) :], np.zeros(len(sound))])
        return out


class Talker:
    """Someone who talks: voiced stretches that glide, formants that jump, hisses, pauses."""

    def __init__(self, level: float, rng: np.random.Generator) -> None:
        self._level, self._rng = level, rng
        self._left = 0
        self._phase = 0.0
        self._what = "pause"
        self._hz, self._slope = 120.0, 0.0
        self._formants: list[tuple[Floats, Floats, Floats]] = []
        self._voice_hz = rng.uniform(95.0, 210.0)

    def speak(self, count: int) -> Floats:
        out = np.zeros(count)
        done = 0
        while done < count:
            if self._left <= 0:
                self._next()
            part = min(self._left, count - done)
            out[done : done + part] = self._some(part)
            done += part
            self._left -= part
        return self._level * out

    def _next(self) -> None:
        rng = self._rng
        self._what = str(rng.choice(["voice", "voice", "voice", "hiss", "pause"]))
        self._left = int(rng.uniform(0.06, 0.28) * RATE)
        self._hz = self._voice_hz * rng.uniform(0.8, 1.35)
        self._slope = rng.uniform(-80.0, 60.0)
        places = (rng.uniform(300, 800), rng.uniform(900, 2200), rng.uniform(2300, 3200))
        self._formants = []
        for hz in places:
            b, a = scipy.signal.iirpeak(hz, 6.0, RATE)
            self._formants.append((b, a, np.zeros(2)))

    def _some(self, count: int) -> Floats:
        if self._what == "pause":
            return np.zeros(count)
        if self._what == "hiss":
            return 0.25 * np.diff(self._rng.standard_normal(count + 1))
        times = np.arange(count) / RATE
        hz = np.maximum(60.0, self._hz + self._slope * times)
        self._hz = float(hz[-1])
        phase = self._phase + 2.0 * np.pi * np.cumsum(hz) / RATE
        self._phase = float(phase[-1] % (2.0 * np.pi))
        source = np.exp(20.0 * (np.cos(phase) - 1.0))
        out = np.zeros(count)
        for n, (b, a, before) in enumerate(self._formants):
            ringing, after = scipy.signal.lfilter(b, a, source, zi=before)
            self._formants[n] = (b, a, after)
            out += (1.0, 0.7, 0.4)[n] * ringing
        return 6.0 * out


@dataclass
class Church:
    """All that sounds. Change its parts as the scene goes on; `block` gives the next tenth."""

    rng: np.random.Generator
    pipes: dict[str, JetPipe] = field(default_factory=dict)
    room_s: float = 1.4
    noise: float = 3e-4
    talker: Talker | None = None
    tremulant: tuple[float, float] | None = None  # cents, Hz
    sag_cents: float = 0.0
    sag_goal: float = 0.0
    gap_s: float = 0.0  # the next block loses so much, without a word
    thump: float = 0.0
    gain: float = 1.0
    clip: float = 1e9
    now_s: float = 0.0
    truth: dict[str, list[Floats]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        direct_db = float(self.rng.uniform(-4.0, 6.0))
        self._room = VelvetRoom(self.room_s, direct_db, self.rng)

    def hold(self, *names: str) -> None:
        """These keys are down and no other."""
        for name, pipe in self.pipes.items():
            if name in names and not pipe.held:
                pipe.held, pipe.spoke_s = True, 0.0
            elif name not in names:
                pipe.held = False

    def block(self) -> tuple[NDArray[np.float32], float]:
        count = int(BLOCK_S * RATE)
        start_s = self.now_s
        steps = count // _STEP
        times = start_s + np.arange(1, steps + 1) * _STEP / RATE
        keep = np.exp(-np.arange(1, steps + 1) * _STEP / RATE / 0.2)
        sag = self.sag_goal + (self.sag_cents - self.sag_goal) * keep
        self.sag_cents = float(sag[-1])
        common = sag
        swell = np.ones(count)
        if self.tremulant is not None:
            deep, hz = self.tremulant
            beat = np.sin(2.0 * np.pi * hz * times)
            common = common + deep * (beat + 0.2 * np.sin(4.0 * np.pi * hz * times + 1.0))
            swell = 1.0 + 0.03 * deep * np.repeat(beat, _STEP)
        sound = np.zeros(count)
        for name, pipe in self.pipes.items():
            if pipe.is_quiet:
                pipe.cool(count / RATE)
                still = pipe.rest_cents + pipe.warm_cents + pipe.shade * pipe.shade_cents
                self.truth.setdefault(name, []).append(np.full(steps, still))
                pipe.now_cents, pipe.shade = pipe.rest_cents, pipe.shade_goal
                continue
            tone, cents = pipe.render(count, start_s, common)
            sound += tone
            self.truth.setdefault(name, []).append(cents)
        sound *= swell
        if self.talker is not None:
            sound += self.talker.speak(count)
        if self.thump:
            at = int(self.rng.integers(0, count // 2))
            fall = np.exp(-np.arange(count - at) / RATE / 0.03)
            sound[at:] += self.thump * fall * np.sin(6.28 * 70.0 * np.arange(count - at) / RATE)
            self.thump = 0.0
        heard = self._room.hear(sound)
        hiss = self.rng.standard_normal(count)
        heard = heard + self.noise * (hiss + 4.0 * np.sin(6.28 * 50.0 * (start_s + _t(count))))
        if self.gap_s:
            lost = int(self.gap_s * RATE)
            at = int(self.rng.integers(0, count - lost))
            if self.rng.random() < 0.5:
                heard[at : at + lost] = 0.0
            else:  # samples are missing, what follows moves up; the device repeats the end
                heard = np.concatenate([heard[:at], heard[at + lost :], heard[-lost:]])
            self.gap_s = 0.0
        heard = np.clip(self.gain * heard, -self.clip, self.clip)
        self.now_s = start_s + count / RATE
        return heard.astype(np.float32), start_s

    def wait(self, seconds: float) -> None:
        """Nothing is heard meanwhile (as between two sessions): pipes cool."""
        for pipe in self.pipes.values():
            pipe.cool(seconds)

    def sounded(self, name: str, from_s: float, to_s: float) -> tuple[float, float]:
        """Least and most that a pipe stood at, between two times [cents]."""
        course = self._course(name)
        first = max(0, int(from_s * RATE / _STEP) - 1)
        part = course[first : max(first + 1, int(to_s * RATE / _STEP))]
        return float(part.min()), float(part.max())

    def _course(self, name: str) -> Floats:
        parts = self.truth[name]
        if len(parts) > 64:
            self.truth[name] = parts = [np.concatenate(parts)]
        return np.concatenate(parts)


def _t(count: int) -> Floats:
    return np.arange(count) / RATE
