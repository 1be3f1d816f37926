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
from dataclasses import dataclass, field

import numpy as np

from bench._closed_loop import closed_loop, print_closed
from bench._jet_pipes import Church
from bench._mishap_scenes import NAMES, RANKS, ROWS, UPDATE_S, Scene, make_scene
from walkboard.listening.live.readings import LiveFlag
from walkboard.work.live.flow import TuningFlow
from walkboard.work.live.values import Outcome, Shown, Task

WRONG_CENTS, WRONG_S = 2.0, 0.3
OPPOSITE_CENTS, OPPOSITE_S = 1.0, 0.6
TOLERANCE_CENTS = 0.5


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


_COOLS = {"skip", "undo", "cooling", "cone"}  # by a hand: not springs


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
