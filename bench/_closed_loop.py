"""The closed loop of `bench mishaps`: a tuner who does only what the screen says."""

from __future__ import annotations

import time
from dataclasses import dataclass, field

import numpy as np

from bench._hands import Tuner, hand_for
from bench._jet_pipes import BLOCK_S
from bench._mishap_scenes import NAMES, RANKS, Scene, beside, make_scene
from walkboard.work.live.values import Outcome

TOLERANCE_CENTS = 0.5
MOST_S = 240.0  # that the tuner gives a pipe, as in `bench practice`
LOOPS = ("shade", "skip", "key", "second")


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


def closed_loop(kind: str, visit: int, seed: int) -> Closed:
    """Three pipes and a mishap: skips, wrong keys, a second stop left drawn, or only shade."""
    found = Closed()
    rng = np.random.default_rng([seed, NAMES.index(kind), visit])
    played = _Visit(make_scene(rng, kind, others=2, update_s=0.2), LOOPS[visit % len(LOOPS)], rng)
    played.run(found)
    played.judge(found, f"{kind} {played.mishap} #{visit}")
    return found


class _Visit:
    """Three pipes, one after the other."""

    def __init__(self, scene: Scene, mishap: str, rng: np.random.Generator) -> None:
        self.scene, self.mishap, self.rng = scene, mishap, rng
        church = scene.church
        self.names = {t.pipe: name for t, name in zip(scene.tasks, church.pipes, strict=True)}
        device = RANKS[scene.kind][1]
        self.tuner = Tuner(
            church,
            {name: hand_for(device, rng) for name in self.names.values()},
            dict.fromkeys(self.names.values(), device),
            rng,
        )
        for pipe in church.pipes.values():
            pipe.rest_cents = float(rng.choice([-1.0, 1.0]) * rng.uniform(1.5, 20.0))
        self.began: dict[str, float] = {}
        self.moved: dict[str, int] = {}
        self.spent: dict[str, float] = {}
        self.skipped: set[str] = set()
        self.given_up: set[str] = set()

    def run(self, found: Closed) -> None:
        church, flow = self.scene.church, self.scene.flow
        while self._at() and church.now_s < 3.0 * MOST_S:
            name = self._at()
            if name not in self.began:
                self._begin(name)
            self._hold(name)
            self.tuner.tick(name, BLOCK_S)
            sound, start_s = church.block()
            before = time.process_time()
            updates = flow.take(sound, start_s)
            found.cpu_s += time.process_time() - before
            for shown in updates:
                if shown.finished is not None:
                    self.spent[name] = church.now_s - self.began[name]
                elif self._at() == name:
                    moves = self.tuner.moves
                    self.tuner.see(name, shown)
                    self.moved[name] = self.moved.get(name, 0) + self.tuner.moves - moves
            if self._at() not in {name, ""}:
                continue
            if self._at() and church.now_s - self.began[name] > MOST_S:
                self.given_up.add(name)
                flow.skip()
                if self.given_up >= set(self.names.values()) - set(self.spent):
                    break
            elif (
                self._at()
                and self.mishap == "skip"
                and self.moved.get(name)
                and name not in self.skipped
            ):
                self.skipped.add(name)
                flow.skip()
            if not self._at():
                self._take_up_skipped()
        found.moves += self.tuner.moves
        found.heard_s += church.now_s

    def _at(self) -> str:
        """The pipe at hand; empty at the end."""
        task = self.scene.flow.task
        return "" if task is None else self.names[task.pipe]

    def _take_up_skipped(self) -> None:
        flow = self.scene.flow
        for result in flow.results:
            given_up = self.names[result.task.pipe] in self.given_up
            if result.outcome is Outcome.SKIPPED and not given_up:
                flow.come_back(result.task.pipe)
                return

    def _begin(self, name: str) -> None:
        self.began[name] = self.scene.church.now_s
        if self.mishap == "second":
            extra = beside(self.scene, float(self.rng.choice([1.0, 2.0])), 0.0, -2.0, "principal")
            extra.target_hz *= self.scene.church.pipes[name].target_hz / self.scene.pipe.target_hz
            extra.rest_cents = float(self.rng.uniform(-6.0, 6.0))
            self.scene.church.pipes["extra"] = extra

    def _hold(self, name: str) -> None:
        into_s = self.scene.church.now_s - self.began[name]
        if self.mishap == "key" and into_s < 2.0:
            self.scene.church.hold(next(n for n in self.names.values() if n != name))
        elif self.mishap == "second" and into_s < 6.0:
            self.scene.church.hold(name, "extra")
        else:
            self.scene.church.hold(name)

    def judge(self, found: Closed, about: str) -> None:
        results = {r.task.pipe: r for r in self.scene.flow.results}
        for ref, name in self.names.items():
            found.pipes += 1
            rest = self.scene.church.pipes[name].rest_cents
            if ref not in results or results[ref].outcome is not Outcome.DONE:
                found.notes.append(f"{about} {name}: not done, {rest:+.2f}")
                continue
            found.done += 1
            found.worst = max(found.worst, abs(rest))
            found.seconds.append(self.spent[name])
            if abs(rest) > TOLERANCE_CENTS:
                found.false_done += 1
                found.notes.append(f"{about} {name}: FALSE done, {rest:+.2f}")


def print_closed(kind: str, found: Closed) -> None:
    """One line, and what was not done or falsely."""
    seconds = f"{np.median(found.seconds):.0f}" if found.seconds else "–"
    print(
        f"{kind:12s}{found.pipes:6d}{found.done:6d}{found.false_done:7d}{found.worst:8.2f}"
        f"{seconds:>9s}{found.moves / max(1, found.pipes):7.1f}"
        f"{found.cpu_s / found.heard_s:7.3f}",
        flush=True,
    )
    for note in found.notes:
        print("    " + note)
