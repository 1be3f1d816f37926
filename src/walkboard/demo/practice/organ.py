"""A simulated organ that sounds live: a key is held, a pipe is moved, it cools after the touch.

It is a `capture.Source`: `blocks` gives sound in real time or as fast as possible. The player calls
`hold`, `release`, `touch`, `move_mm`, `move_cents`. The truth of each pipe can be queried. It
shares no code with `walkboard.listening`.

How it behaves (common practice, no source, unless another is named): a hand warms a pipe towards
that pipe's offset with a time constant of a few seconds, and afterwards it falls back with that
pipe's τ; a slide or stopper sticks, so each move turns out slightly different from what was meant;
a blown pipe wanders by a tenth of a cent. Slides and stoppers follow the half and quarter wave,
c/2f or c/4f (textbook physics; end corrections left out, they do not change). A tongue's pitch goes
as its length to a power between −1 and −2 (Plitnik and Knox 1995; Euler and Bernoulli).
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from walkboard.capture.playing import Pace
from walkboard.capture.source import Block
from walkboard.demo.practice.room import PracticeRoom
from walkboard.demo.synthesiser.voices import PipeVoice, partials_of
from walkboard.organ.model import PipeRef

RATE = 48_000
_WARMS_S = 4.0
_HAND_FOLLOWS_S = 0.15  # how fast a slide follows the hand
_WANDER_S = 0.5
_ATTACK_S = 0.06
_RELEASE_S = 0.08
_SPEED_M_S = 341.0
_MOST_PARTIALS = 40


@dataclass(slots=True)
class PracticePipe:
    """One pipe.

    Attributes
    ----------
    voice : PipeVoice
        Its sound; its `hz` is ignored.
    target_hz : float
        Its target [Hz].
    cents : float
        Its deviation at rest.
    waves : float or None
        2 for a slide's half wave, 4 for a stopper's quarter; None if there is no formula in
        millimetres.
    warmth_cents : float
        Offset under a lasting touch.
    tau_s : float
        Time constant of its cooling.
    stick : float
        Relative error of a move, one standard deviation.
    tongue_mm : float or None
        Tongue length of a reed at its target [mm].
    exponent : float
        Exponent of the tongue's pitch against its length [-].
    """

    voice: PipeVoice
    target_hz: float
    cents: float
    waves: float | None = 2.0
    warmth_cents: float = 6.0
    tau_s: float = 45.0
    stick: float = 0.15
    warm_cents: float = 0.0
    tongue_mm: float | None = None
    exponent: float = 1.0
    _now_cents: float = field(default=0.0, init=False)
    _wander_cents: float = field(default=0.0, init=False)

    def __post_init__(self) -> None:
        self._now_cents = self.cents

    @property
    def at_rest_cents(self) -> float:
        """Its deviation once it has cooled [cents]."""
        return self.cents


@dataclass(slots=True)
class _Sounding:
    """A pipe that is sounding or dying away."""

    pipe: PracticePipe
    partials: NDArray[np.complex128]
    phase: float = 0.0
    level: float = 0.0
    held: bool = True


class PracticeOrgan:
    """The organ as a live source.

    Parameters
    ----------
    pipes : mapping of PipeRef to PracticePipe
    pace : Pace
        `capture.playing.RealTime` to practise, `NoWait` in tests.
    rng : numpy.random.Generator
    block_s : float
        Length of a block [s].
    room_s : float
        Reverberation time [s]; 0 for none.
    """

    name = "practice organ"
    sample_rate = RATE
    channels = 1

    def __init__(
        self,
        pipes: Mapping[PipeRef, PracticePipe],
        pace: Pace,
        rng: np.random.Generator,
        *,
        block_s: float = 0.02,
        room_s: float = 1.6,
    ) -> None:
        self.pipes = dict(pipes)
        self.now_s = 0.0
        self._pace = pace
        self._rng = rng
        self._size = round(block_s * RATE)
        self._sounding: dict[PipeRef, _Sounding] = {}
        self._touched: set[PipeRef] = set()
        self._room = PracticeRoom(room_s, RATE) if room_s else None
        self._stop = threading.Event()
        self._lock = threading.Lock()

    def hold(self, *pipes: PipeRef) -> None:
        """Hold the key of these pipes, and release all others."""
        with self._lock:
            for pipe, sounding in self._sounding.items():
                sounding.held = pipe in pipes
            for pipe in pipes:
                if pipe not in self._sounding:
                    voice = self.pipes[pipe].voice
                    partials = partials_of(voice, RATE)[:_MOST_PARTIALS]
                    self._sounding[pipe] = _Sounding(
                        self.pipes[pipe], partials * 10.0 ** (voice.level_db / 20.0) * 2.0**0.5
                    )

    def release(self) -> None:
        """Hold nothing."""
        self.hold()

    def touch(self, pipe: PipeRef) -> None:
        """Put a hand on a pipe; it warms until `let_go`."""
        with self._lock:
            self._touched.add(pipe)

    def let_go(self, pipe: PipeRef) -> None:
        """Take the hand off."""
        with self._lock:
            self._touched.discard(pipe)

    def move_cents(self, pipe: PipeRef, cents: float) -> None:
        """Move a pipe by so many cents, as well as the hand can, + is sharper."""
        with self._lock:
            moved = self.pipes[pipe]
            moved.cents += cents * (1.0 + moved.stick * float(self._rng.standard_normal()))

    def move_mm(self, pipe: PipeRef, mm: float) -> None:
        """Move slide, stopper or spring so that the sounding length grows by this much [mm];
        flatter.

        Raises
        ------
        ValueError
            If the pipe is not tuned by its length.
        """
        moved = self.pipes[pipe]
        ratio = 2.0 ** (moved.cents / 1200.0)
        if moved.tongue_mm is not None:
            length_mm = moved.tongue_mm * ratio ** (-1.0 / moved.exponent)
            longer = float(np.log2((length_mm + mm) / length_mm))
            self.move_cents(pipe, -1200.0 * moved.exponent * longer)
            return
        if moved.waves is None:
            raise ValueError(f"pipe {pipe} is not tuned by its length")
        length_mm = 1000.0 * _SPEED_M_S / (moved.waves * moved.target_hz * ratio)
        self.move_cents(pipe, -1200.0 * float(np.log2((length_mm + mm) / length_mm)))

    def blocks(self) -> Iterator[Block]:
        """Sound, block after block, until closed."""
        while not self._stop.is_set():
            start_s = self.now_s
            with self._lock:
                sound = self._render()
            self.now_s = start_s + self._size / RATE
            self._pace.wait_until(self.now_s, self._stop)
            yield Block(sound.astype(np.float32)[:, np.newaxis], start_s)

    def close(self) -> None:
        """Stop it."""
        self._stop.set()

    def wait(self, seconds: float) -> None:
        """Let time pass unheard, as between two pipes."""
        with self._lock:
            for ref, pipe in self.pipes.items():
                self._warm(ref, pipe, seconds)
        self.now_s += seconds

    def _render(self) -> NDArray[np.float64]:
        step_s = self._size / RATE
        sound = 1e-4 * self._rng.standard_normal(self._size)
        for ref, pipe in self.pipes.items():
            if ref in self._touched or pipe.warm_cents:
                self._warm(ref, pipe, step_s)
        for ref in list(self._sounding):
            one = self._sounding[ref]
            sound += self._tone(one, step_s)
            if not one.held and one.level < 1e-4:
                del self._sounding[ref]
        return self._room.hear(sound) if self._room is not None else sound

    def _warm(self, ref: PipeRef, pipe: PracticePipe, seconds: float) -> None:
        if ref in self._touched:
            share = 1.0 - np.exp(-seconds / _WARMS_S)
            pipe.warm_cents += float(share) * (pipe.warmth_cents - pipe.warm_cents)
        else:
            pipe.warm_cents *= float(np.exp(-seconds / pipe.tau_s))
            if abs(pipe.warm_cents) < 1e-4:
                pipe.warm_cents = 0.0

    def _tone(self, one: _Sounding, step_s: float) -> NDArray[np.float64]:
        pipe, count = one.pipe, self._size
        keep = float(np.exp(-step_s / _WANDER_S))
        before = pipe._now_cents + pipe._wander_cents  # noqa: SLF001 - one thing in two classes
        share = 1.0 - float(np.exp(-step_s / _HAND_FOLLOWS_S))
        goal = pipe.cents + pipe.warm_cents
        pipe._now_cents += share * (goal - pipe._now_cents)  # noqa: SLF001
        kick = pipe.voice.wander_cents * float(np.sqrt(1.0 - keep**2) * self._rng.standard_normal())
        pipe._wander_cents = keep * pipe._wander_cents + kick  # noqa: SLF001
        after = pipe._now_cents + pipe._wander_cents  # noqa: SLF001
        part = (np.arange(count) + 0.5) / count
        hz = pipe.target_hz * 2.0 ** ((before + part * (after - before)) / 1200.0)
        phase = one.phase + np.cumsum(hz) / RATE
        one.phase = float(phase[-1] % 1.0)
        goal_level = 1.0 if one.held else 0.0
        time_s = _ATTACK_S if one.held else _RELEASE_S
        level = goal_level + (one.level - goal_level) * np.exp(-part * step_s / time_s)
        one.level = float(level[-1])
        turn = np.exp(2j * np.pi * phase)
        power = np.ones(count, dtype=complex)
        sound = np.zeros(count)
        for partial in one.partials:
            power *= turn
            sound += partial.real * power.real - partial.imag * power.imag
        noise = 10.0 ** ((pipe.voice.level_db + pipe.voice.wind_db) / 20.0)
        return np.asarray(level * (sound + noise * self._rng.standard_normal(count)))
