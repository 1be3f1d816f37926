"""The situations of `bench mishaps`: each puts pipes, hands and mishaps on one time line."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from bench._jet_pipes import BLOCK_S, KINDS, Church, JetPipe, Talker
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.work.live.flow import TuningFlow
from walkboard.work.live.values import Task

UPDATE_S = 0.1

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


def make_scene(
    rng: np.random.Generator, kind: str, others: int = 1, update_s: float = UPDATE_S
) -> Scene:
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
    level = 0.05 * 10.0 ** rng.uniform(-0.3, 0.2)
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
            # one against its neighbours, one microphone: σ 3.3 dB in a study of the project
            level=float(level * 10.0 ** (3.3 * rng.standard_normal() / 20.0)),
            cools_s=float(rng.uniform(20.0, 80.0)),
        )
    flow = TuningFlow(organ(), tasks, 48_000, air, update_s=update_s)
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
        scene,
        2.0 ** (step / 12.0),
        float(rng.uniform(-9.0, 9.0)),
        float(rng.uniform(-6, 2)),
        "flute",
    )
    scene.church.pipes["cipher"] = other
    scene.church.hold("cipher")
    yield from scene.play(1.0)
    scene.church.hold("pipe", "cipher")
    yield from scene.play(7.0)


def skip_and_back(scene: Scene) -> Iterator[float]:
    yield from _leave_and_return(scene, scene.flow.skip)


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
    """Another pipe of the rank is heard first, free; then a hand is there from the start."""
    pipe = scene.pipe
    scene.flow.come_back(scene.tasks[1].pipe)
    scene.name = "next1"
    scene.church.hold("next1")
    yield from scene.play(3.0)
    scene.flow.come_back(scene.tasks[0].pipe)
    scene.name = "pipe"
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
