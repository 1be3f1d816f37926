"""Ordinary mishaps at the pipe: wrong values, advice the wrong way, a false "done".

Every row is one situation, played many times by `bench._jet_pipes` and `bench._hands`, which share
nothing with the practice organ or the tests' sounds. Counted are

- wrong: runs of readings without a caution that are over 2 cents (and three of their σ) from
  anything the pipe stood at in the last .35 s, for longer than .3 s; and how long they lasted;
- opposite: advice away from the target for longer than .6 s, the pipe over 1 cent off at rest;
- false done: "done" that stands at the end, the pipe over half a cent off at rest; taken back:
  those that were withdrawn in time;
- missed: pipes in tune that were not called done; time to done.

The closed loop: a tuner who does only what the screen says, on pipes of six kinds, with hands that
shade and warm, skips, wrong keys, a second stop left drawn.
Run: python -m bench mishaps, or some rows: python -m bench.mishaps [ROW ...] [RUNS] [SEED]
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from bench._hands import Tuner, hand_for
from bench._jet_pipes import BLOCK_S, KINDS, Church, JetPipe, Talker
from walkboard.listening.tracking_readings import LiveFlag
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.work.tuning_flow import TuningFlow
from walkboard.work.tuning_values import Outcome, Shown, Task

UPDATE_S = 0.1
WRONG_CENTS, WRONG_S = 2.0, 0.3
OPPOSITE_CENTS, OPPOSITE_S = 1.0, 0.6
TOLERANCE_CENTS = 0.5

#: Ranks by kind of sound and by what they are tuned by.
RANKS = {
    "principal": ("great.octave4", "slide"),
    "flute": ("swell.flute4", "slide"),
    "stopped": ("great.bourdon8", "stopper"),
    "string": ("swell.gamba8", "roll"),
    "reed": ("swell.trumpet8", "spring"),
    "odd reed": ("solo.clarinet8", "spring"),
    "cone": ("great.fifteenth2", "cone"),
}
NAMES = tuple(RANKS)

_ORGAN: list[Organ] = []


def organ() -> Organ:
    if not _ORGAN:
        _ORGAN.append(read_organ(examples.hall(), where="hall"))
    return _ORGAN[0]


@dataclass
class Counts:
    """What went wrong in the runs of a row."""

    runs: int = 0
    wrong: int = 0
    wrong_runs: int = 0
    wrong_s: float = 0.0
    opposite: int = 0
    opposite_runs: int = 0
    false_done: int = 0
    taken_back: int = 0
    done: int = 0
    missed: int = 0
    done_s: list[float] = field(default_factory=list)
    read: int = 0
    inside: int = 0
    updates: int = 0
    heard_s: float = 0.0
    cpu_s: float = 0.0
    notes: list[str] = field(default_factory=list)


class Watch:
    """Counts one run's wrong values and opposite advice."""

    def __init__(self, church: Church, counts: Counts, about: str) -> None:
        self._church, self._counts, self._about = church, counts, about
        self._wrong_since: float | None = None
        self._opposite_since: float | None = None
        self._was_wrong = self._was_opposite = False
        self._counted_wrong = self._counted_opposite = False

    def see(self, name: str, shown: Shown) -> None:
        counts, church = self._counts, self._church
        counts.updates += 1
        reading = shown.reading
        pipe = church.pipes[name]
        now_s = church.now_s if reading is None else reading.at_s
        wrong = False
        if reading is not None and reading.cents is not None and reading.sigma_cents is not None:
            least, most = church.sounded(name, now_s - 0.35, now_s)
            off = max(0.0, least - reading.cents, reading.cents - most)
            cautions = [flag for flag in reading.flags if flag is not LiveFlag.CLIPPED]
            wrong = off > max(WRONG_CENTS, 3.0 * reading.sigma_cents) and not cautions
            if not cautions:
                counts.read += 1
                counts.inside += off <= 2.0 * reading.sigma_cents
        if not wrong:
            self._wrong_since, self._counted_wrong = None, False
        elif self._wrong_since is None:
            self._wrong_since = now_s
        elif now_s - self._wrong_since > WRONG_S:
            if not self._counted_wrong:
                counts.wrong += 1
                assert reading is not None
                counts.notes.append(
                    f"wrong {self._about} at {now_s:.1f}: {reading.cents:+.2f}"
                    f"±{reading.sigma_cents:.2f}, stood {least:+.2f}…{most:+.2f}"
                )
                self._counted_wrong = self._was_wrong = True
            counts.wrong_s += UPDATE_S
        rest = pipe.rest_cents
        opposite = (
            shown.advice is not None
            and abs(rest) > OPPOSITE_CENTS
            and shown.advice.cents * rest > 0.0
        )
        if not opposite:
            self._opposite_since, self._counted_opposite = None, False
        elif self._opposite_since is None:
            self._opposite_since = now_s
        elif now_s - self._opposite_since > OPPOSITE_S and not self._counted_opposite:
            counts.opposite += 1
            assert shown.advice is not None
            counts.notes.append(
                f"opposite {self._about} at {now_s:.1f}: {shown.advice.words}"
                f" ({shown.advice.cents:+.1f}), rests at {rest:+.2f}"
            )
            self._counted_opposite = self._was_opposite = True

    def end(self) -> None:
        self._counts.wrong_runs += self._was_wrong
        self._counts.opposite_runs += self._was_opposite


@dataclass
class Scene:
    """One run: the church, the flow, and which pipe is at hand."""

    church: Church
    flow: TuningFlow
    tasks: list[Task]
    rng: np.random.Generator
    name: str = "pipe"
    kind: str = ""

    @property
    def pipe(self) -> JetPipe:
        return self.church.pipes[self.name]

    def play(self, seconds: float) -> Iterator[float]:
        """Let time go by, in tenths; gives the time since."""
        for n in range(round(seconds / BLOCK_S)):
            yield n * BLOCK_S


Row = Callable[[Scene], Iterator[float]]


def make_scene(rng: np.random.Generator, kind: str, others: int = 1) -> Scene:
    """Pipes `pipe`, `next` … of one rank, each off by up to 8 cents, between 100 and 1500 Hz."""
    rank_id, _ = RANKS[kind]
    rank = organ().rank(rank_id)
    air = {rank.division: 20.0}
    numbers = [
        n
        for n in range(1, rank.pipes - 12)
        if 100.0 < target_hz(organ(), PipeRef(rank_id, n), 20.0) < 1500.0
    ]
    first = int(rng.choice(numbers))
    church = Church(rng, room_s=float(rng.uniform(0.5, 2.2)))
    tasks = []
    for n in range(1 + others):
        ref = PipeRef(rank_id, first + 3 * n)
        hz = target_hz(organ(), ref, 20.0)
        tasks.append(Task(ref, rank.key_of(ref.number), rank_id, hz))
        sound = KINDS["principal" if kind == "cone" else kind]
        name = "pipe" if n == 0 else f"next{n}"
        church.pipes[name] = JetPipe(
            sound,
            hz,
            float(rng.uniform(-8.0, 8.0)),
            rng,
            level=float(0.05 * 10.0 ** rng.uniform(-0.4, 0.3)),
            cools_s=float(rng.uniform(20.0, 80.0)),
        )
    flow = TuningFlow(organ(), tasks, 48_000, air, update_s=UPDATE_S)
    scene = Scene(church, flow, tasks, rng, kind=kind)
    for _ in range(4):
        church.block()
    return scene


def beside(scene: Scene, ratio: float, cents: float, level_db: float, kind: str) -> JetPipe:
    """Another pipe that sounds, so much from a multiple of the pipe's pitch."""
    pipe = scene.pipe
    return JetPipe(
        KINDS[kind],
        pipe.target_hz * ratio,
        pipe.rest_cents + cents,
        scene.rng,
        level=pipe.level * 10.0 ** (level_db / 20.0),
        held=True,
    )


# --- the rows ---------------------------------------------------------------------------------


def steady(scene: Scene) -> Iterator[float]:
    scene.church.hold("pipe")
    yield from scene.play(5.0)


def in_tune(scene: Scene) -> Iterator[float]:
    scene.pipe.rest_cents = float(scene.rng.uniform(-0.2, 0.2))
    scene.church.hold("pipe")
    yield from scene.play(12.0)


def octave_drawn(scene: Scene) -> Iterator[float]:
    rng = scene.rng
    scene.pipe.rest_cents = float(rng.uniform(-5.0, 5.0))
    away = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.6, 8.0))
    kind = str(rng.choice(["principal", "flute"]))
    scene.church.pipes["octave"] = beside(scene, 2.0, away, float(rng.uniform(-6.0, 3.0)), kind)
    scene.church.hold("pipe", "octave")
    yield from scene.play(8.0)


def unison_drawn(scene: Scene) -> Iterator[float]:
    rng = scene.rng
    scene.pipe.rest_cents = float(rng.uniform(-5.0, 5.0))
    away = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.8, 6.0))
    kind = str(rng.choice(["principal", "flute", "stopped"]))
    scene.church.pipes["unison"] = beside(scene, 1.0, away, float(rng.uniform(-6.0, 3.0)), kind)
    scene.church.hold("pipe", "unison")
    yield from scene.play(8.0)


def cipher(scene: Scene) -> Iterator[float]:
    rng = scene.rng
    step = int(rng.choice([-12, -7, -5, 3, 4, 7, 12, 16, 19]))
    other = beside(
        scene, 2.0 ** (step / 12.0), float(rng.uniform(-9.0, 9.0)), float(rng.uniform(-6, 2)), "flute"
    )
    scene.church.pipes["cipher"] = other
    scene.church.hold("cipher")
    yield from scene.play(1.0)
    scene.church.hold("pipe", "cipher")
    yield from scene.play(7.0)


def skip_and_back(scene: Scene) -> Iterator[float]:
    yield from _leave_and_return(scene, lambda: scene.flow.skip())


def undo_and_back(scene: Scene) -> Iterator[float]:
    def leave() -> None:
        scene.flow.skip()
        scene.flow.undo()

    yield from _leave_and_return(scene, leave)


def _leave_and_return(scene: Scene, leave: Callable[[], object]) -> Iterator[float]:
    """Set right by ear while warm, then left for a moment: it settles flat by its warmth."""
    rng, pipe = scene.rng, scene.pipe
    warm = float(rng.uniform(3.0, 9.0))
    pipe.rest_cents = float(rng.uniform(3.0, 8.0))
    scene.church.hold("pipe")
    yield from scene.play(2.5)
    pipe.shade_goal = 0.4
    pipe.rest_cents = -warm
    pipe.wall_cents, pipe.air_cents = warm, 0.15 * warm
    yield from scene.play(1.0)
    pipe.shade_goal = 0.0
    yield from scene.play(float(rng.uniform(0.5, 1.5)))
    leave()
    if scene.flow.task is not None and scene.flow.task.pipe != scene.tasks[0].pipe:
        scene.church.hold("next1")
        scene.name = "next1"
        yield from scene.play(float(rng.uniform(1.0, 4.0)))
        scene.flow.come_back(scene.tasks[0].pipe)
    scene.name = "pipe"
    scene.church.hold("pipe")
    yield from scene.play(9.0)


def cooling(scene: Scene) -> Iterator[float]:
    rng, pipe = scene.rng, scene.pipe
    warm = float(rng.choice([-1.0, 1.0], p=[0.1, 0.9]) * rng.uniform(3.0, 9.0))
    pipe.rest_cents = -warm + float(rng.uniform(-2.0, 4.0))
    pipe.wall_cents, pipe.air_cents = 0.85 * warm, 0.15 * warm
    scene.church.hold("pipe")
    yield from scene.play(10.0)


def hand_leaves(scene: Scene) -> Iterator[float]:
    rng, pipe = scene.rng, scene.pipe
    scene.church.hold("pipe")
    yield from scene.play(2.0)
    pipe.shade_cents = -float(rng.uniform(8.0, 60.0))
    pipe.shade_goal = 1.0
    yield from scene.play(float(rng.uniform(0.8, 2.5)))
    pipe.rest_cents += float(rng.uniform(-6.0, 6.0))
    yield from scene.play(0.6)
    pipe.shade_goal = 0.0
    yield from scene.play(5.0)


def knocked(scene: Scene) -> Iterator[float]:
    rng, pipe = scene.rng, scene.pipe
    pipe.goes_s = 0.02
    scene.church.hold("pipe")
    yield from scene.play(float(rng.uniform(2.0, 3.0)))
    for _ in range(3):
        pipe.rest_cents = float(rng.uniform(-22.0, 22.0))
        yield from scene.play(float(rng.uniform(1.0, 3.5)))


def shaded(scene: Scene) -> Iterator[float]:
    rng, pipe = scene.rng, scene.pipe
    pipe.shade_cents = -float(rng.uniform(4.0, 25.0))
    pipe.rest_cents = float(rng.uniform(-4.0, 8.0))
    yield from _shaded(scene)


def shaded_onto_target(scene: Scene) -> Iterator[float]:
    rng, pipe = scene.rng, scene.pipe
    pipe.shade_cents = -float(rng.uniform(2.0, 12.0))
    pipe.rest_cents = -pipe.shade_cents + float(rng.uniform(-0.2, 0.2))
    yield from _shaded(scene)


def _shaded(scene: Scene) -> Iterator[float]:
    """The pipe before it in the rank is heard first, free; then the hand is there from the start."""
    pipe = scene.pipe
    pipe.shade = pipe.shade_goal = 1.0
    scene.church.hold("pipe")
    yield from scene.play(float(scene.rng.uniform(3.0, 6.0)))
    pipe.shade_goal = 0.0
    yield from scene.play(5.0)


def cone_warm(scene: Scene) -> Iterator[float]:
    rng, pipe = scene.rng, scene.pipe
    pipe.rest_cents = float(rng.uniform(4.0, 10.0))
    scene.church.hold("pipe")
    yield from scene.play(2.5)
    warm = float(rng.uniform(5.0, 14.0))
    pipe.shade_goal = 0.2
    pipe.rest_cents = float(rng.uniform(-4.0, 2.0))
    pipe.wall_cents, pipe.air_cents = 0.85 * warm, 0.15 * warm
    yield from scene.play(1.2)
    pipe.shade_goal = 0.0
    yield from scene.play(20.0)


def talking(scene: Scene) -> Iterator[float]:
    level = scene.pipe.level * 10.0 ** (float(scene.rng.uniform(-8.0, 8.0)) / 20.0)
    scene.church.talker = Talker(level, scene.rng)
    yield from scene.play(1.5)
    scene.church.hold("pipe")
    yield from scene.play(6.0)


def wrong_key(scene: Scene) -> Iterator[float]:
    rng = scene.rng
    step = int(rng.choice([-12, -2, -1, 1, 2, 7, 12]))
    other = beside(scene, 2.0 ** (step / 12.0), float(rng.uniform(-9.0, 9.0)), 0.0, "principal")
    other.kind, other.held = scene.pipe.kind, False
    scene.church.pipes["wrong"] = other
    scene.church.hold("wrong")
    yield from scene.play(2.0)
    scene.church.hold("pipe")
    yield from scene.play(3.0)
    scene.church.hold("wrong")
    yield from scene.play(1.5)
    scene.church.hold("pipe")
    yield from scene.play(2.5)


def tremulant(scene: Scene) -> Iterator[float]:
    rng = scene.rng
    scene.church.tremulant = (float(rng.uniform(4.0, 18.0)), float(rng.uniform(4.0, 7.0)))
    scene.church.hold("pipe")
    yield from scene.play(6.0)


def sagging(scene: Scene) -> Iterator[float]:
    """Two more keys go down for a while, and the wind sags."""
    rng = scene.rng
    for n, step in enumerate((4, 7)):
        other = beside(scene, 2.0 ** (step / 12.0), float(rng.uniform(-5, 5)), -2.0, "principal")
        other.kind, other.held = scene.pipe.kind, False
        scene.church.pipes[f"chord{n}"] = other
    scene.church.hold("pipe")
    yield from scene.play(2.0)
    scene.church.sag_goal = -float(rng.uniform(2.0, 9.0))
    scene.church.hold("pipe", "chord0", "chord1")
    yield from scene.play(3.0)
    scene.church.sag_goal = 0.0
    scene.church.hold("pipe")
    yield from scene.play(3.0)


def gaps(scene: Scene) -> Iterator[float]:
    scene.church.hold("pipe")
    for into in scene.play(7.0):
        if into > 1.0 and scene.rng.random() < 0.06:
            scene.church.gap_s = float(scene.rng.uniform(0.004, 0.04))
        yield into


def taps(scene: Scene) -> Iterator[float]:
    scene.church.clip = 0.12 if scene.rng.random() < 0.5 else 1e9
    scene.church.hold("pipe")
    for into in scene.play(6.0):
        if scene.rng.random() < 0.08:
            scene.church.thump = float(scene.rng.uniform(0.1, 0.6))
        scene.church.gain = 10.0 ** (0.3 * np.sin(1.3 * into))
        yield into


ROWS: dict[str, tuple[str, Row]] = {
    "steady": ("steady, off by up to 8", steady),
    "in_tune": ("steady, in tune", in_tune),
    "octave": ("an octave left drawn", octave_drawn),
    "unison": ("a unison left drawn", unison_drawn),
    "cipher": ("another key sounds all the time", cipher),
    "skip": ("skipped warm, taken up again", skip_and_back),
    "undo": ("skipped warm, undone at once", undo_and_back),
    "cooling": ("cooling when the key goes down", cooling),
    "leaves": ("the hand leaves", hand_leaves),
    "knocked": ("knocked", knocked),
    "shaded": ("shaded from the start", shaded),
    "onto": ("shaded onto the target", shaded_onto_target),
    "cone": ("a cone still warm", cone_warm),
    "talk": ("someone talks", talking),
    "key": ("wrong key", wrong_key),
    "tremulant": ("tremulant", tremulant),
    "sag": ("a chord that sags the wind", sagging),
    "gaps": ("gaps in the sound", gaps),
    "taps": ("taps, clipping, gain control", taps),
}
_COOLS = {"skip", "undo", "cooling", "cone"}


def run_row(key: str, runs: int, seed: int) -> Counts:
    """Play a situation so many times."""
    _, row = ROWS[key]
    counts = Counts()
    for n in range(runs):
        rng = np.random.default_rng([seed, list(ROWS).index(key), n])
        kinds = [k for k in NAMES if key not in _COOLS or RANKS[k][1] != "spring"]
        kind = "cone" if key == "cone" else kinds[n % len(kinds)]
        scene = make_scene(rng, kind)
        watch = Watch(scene.church, counts, f"#{n} {kind} {scene.pipe.target_hz:.0f} Hz")
        began_s = scene.church.now_s
        done_s: float | None = None
        called = False
        for _ in row(scene):
            sound, start_s = scene.church.block()
            before = time.process_time()
            updates = scene.flow.take(sound, start_s)
            counts.cpu_s += time.process_time() - before
            for shown in updates:
                finished = shown.finished
                if finished is not None and finished.task.pipe == scene.tasks[0].pipe:
                    called, done_s = True, scene.church.now_s
                if not _is_done(scene.flow, scene.tasks[0]):
                    watch.see(scene.name, shown)
        watch.end()
        counts.runs += 1
        counts.heard_s += scene.church.now_s - began_s
        _count_done(counts, scene, called, None if done_s is None else done_s - began_s, n)
    return counts


def _is_done(flow: TuningFlow, task: Task) -> bool:
    return any(r.task.pipe == task.pipe and r.outcome is Outcome.DONE for r in flow.results)


def _count_done(counts: Counts, scene: Scene, called: bool, done_s: float | None, n: int) -> None:
    rest = scene.church.pipes["pipe"].rest_cents
    stands = _is_done(scene.flow, scene.tasks[0])
    counts.taken_back += called and not stands
    if stands and abs(rest) > TOLERANCE_CENTS:
        counts.false_done += 1
        counts.notes.append(f"false done #{n} {scene.kind}: rests at {rest:+.2f}")
    elif stands:
        counts.done += 1
        assert done_s is not None
        counts.done_s.append(done_s)
    elif abs(rest) < 0.25:
        counts.missed += 1


def print_row(key: str, counts: Counts) -> None:
    seconds = f"{np.median(counts.done_s):.1f}" if counts.done_s else "–"
    inside = f"{counts.inside / counts.read:.0%}" if counts.read else "–"
    print(
        f"{ROWS[key][0]:34s}{counts.runs:5d}{counts.wrong:7d}{counts.wrong_runs:6d}"
        f"{counts.wrong_s:7.1f}{counts.opposite_runs:10d}{counts.false_done:7d}"
        f"{counts.taken_back:7d}{counts.done:6d}{counts.missed:8d}{seconds:>9s}{inside:>8s}"
        f"{counts.cpu_s / counts.heard_s:7.3f}",
        flush=True,
    )


# --- the closed loop --------------------------------------------------------------------------

LOOPS = {
    "shade": "hands shade and warm",
    "skip": "skips and comes back",
    "key": "wrong keys",
    "second": "a second stop left drawn",
}
MOST_S = 150.0


@dataclass
class Closed:
    """What became of the pipes of one kind."""

    pipes: int = 0
    done: int = 0
    false_done: int = 0
    worst: float = 0.0
    seconds: list[float] = field(default_factory=list)
    moves: int = 0
    cpu_s: float = 0.0
    heard_s: float = 0.0
    notes: list[str] = field(default_factory=list)


def closed_loop(kind: str, pipes: int, seed: int) -> Closed:
    """A tuner who does what the screen says, three pipes at a time, a mishap each time."""
    found = Closed()
    for n in range(0, pipes, 3):
        mishap = list(LOOPS)[(n // 3) % len(LOOPS)]
        rng = np.random.default_rng([seed, NAMES.index(kind), n])
        scene = make_scene(rng, kind, others=2)
        church, flow = scene.church, scene.flow
        names = {task.pipe: name for task, name in zip(scene.tasks, church.pipes, strict=True)}
        device = RANKS[kind][1]
        tuner = Tuner(
            church,
            {name: hand_for(device, rng) for name in names.values()},
            dict.fromkeys(names.values(), device),
            rng,
        )
        for pipe in church.pipes.values():
            pipe.rest_cents = float(rng.choice([-1.0, 1.0]) * rng.uniform(1.5, 20.0))
        begun: dict[str, float] = {}
        spent: dict[str, float] = {}
        skipped: set[str] = set()
        wrong_until_s = extra_until_s = -1.0
        while flow.task is not None and church.now_s < 3.5 * MOST_S:
            name = names[flow.task.pipe]
            if name not in begun:
                begun[name] = church.now_s
                if mishap == "key":
                    wrong_until_s = church.now_s + 2.0
                if mishap == "second":
                    extra_until_s = church.now_s + 6.0
                    extra = beside(scene, float(rng.choice([1.0, 2.0])), 0.0, -2.0, "principal")
                    here = church.pipes[name]
                    extra.target_hz *= here.target_hz / scene.pipe.target_hz
                    extra.rest_cents = float(rng.uniform(-6.0, 6.0))
                    church.pipes["extra"] = extra
            held = [name]
            if church.now_s < wrong_until_s:
                held = [next(other for other in names.values() if other != name)]
            if church.now_s < extra_until_s:
                held.append("extra")
            church.hold(*held)
            tuner.tick(name, BLOCK_S)
            sound, start_s = church.block()
            before = time.process_time()
            updates = flow.take(sound, start_s)
            found.cpu_s += time.process_time() - before
            for shown in updates:
                if shown.finished is not None:
                    spent[name] = church.now_s - begun[name]
                elif flow.task is not None and names[flow.task.pipe] == name:
                    tuner.see(name, shown)
            late = church.now_s - begun[name] > MOST_S
            goes = mishap == "skip" and tuner.moves and name not in skipped
            if flow.task is not None and names[flow.task.pipe] == name and (late or goes):
                if goes and not late and church.now_s - begun[name] < 5.0:
                    continue
                if name in skipped or late:
                    if late and len(skipped & set(names.values())) >= 3:
                        break
                skipped.add(name)
                flow.skip()
                if flow.task is None or all(
                    r.outcome is Outcome.SKIPPED for r in flow.results[-1:]
                ) and flow.task is None:
                    back = [r.task.pipe for r in flow.results if r.outcome is Outcome.SKIPPED]
                    if back and not late:
                        flow.come_back(back[0])
        results = {r.task.pipe: r for r in flow.results}
        found.moves += tuner.moves
        found.heard_s += church.now_s
        for ref, name in names.items():
            found.pipes += 1
            rest = church.pipes[name].rest_cents
            called = ref in results and results[ref].outcome is Outcome.DONE
            if not called:
                found.notes.append(f"{kind} {mishap} #{n} {name}: not done, {rest:+.2f}")
                continue
            found.done += 1
            found.worst = max(found.worst, abs(rest))
            if name in spent:
                found.seconds.append(spent[name])
            if abs(rest) > TOLERANCE_CENTS:
                found.false_done += 1
                found.notes.append(f"{kind} {mishap} #{n} {name}: FALSE done, {rest:+.2f}")
    return found


def print_closed(kind: str, found: Closed) -> None:
    seconds = f"{np.median(found.seconds):.0f}" if found.seconds else "–"
    print(
        f"{kind:12s}{found.pipes:6d}{found.done:6d}{found.false_done:7d}{found.worst:8.2f}"
        f"{seconds:>9s}{found.moves / max(1, found.pipes):7.1f}"
        f"{found.cpu_s / found.heard_s:7.3f}",
        flush=True,
    )
    for note in found.notes:
        print("    " + note)


def main() -> None:
    asked = [word for word in sys.argv[1:] if not word.isdigit() and word != "mishaps"]
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    runs = numbers[0] if numbers else 14
    seed = numbers[1] if len(numbers) > 1 else 13
    rows = [key for key in ROWS if not asked or key in asked]
    if rows:
        print(
            "situation                          runs  wrong  runs  for,s  opposite  false   back"
            "  done  missed  to done  in 2σ    cpu"
        )
    for key in rows:
        counts = run_row(key, runs, seed)
        print_row(key, counts)
        if asked:
            for note in counts.notes:
                print("    " + note)
    if not asked or "closed" in asked:
        print("\nclosed loop  pipes  done  false   worst  seconds  moves    cpu")
        for kind in NAMES:
            print_closed(kind, closed_loop(kind, max(3, runs), seed))


if __name__ == "__main__":
    main()
