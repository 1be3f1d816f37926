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
Run: python -m bench mishaps, or some rows: python -m bench.mishaps [ROW ...] [RUNS] [SEED]. With
`keep=FILE` every run is written to a file, those in it are not played again, and after `minutes=M`
it stops: call it again to go on; with `minutes=0` it only prints what there is.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import TypeVar

import numpy as np

from bench._closed_loop import Closed, closed_loop, print_closed
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


def run_one(key: str, n: int, seed: int) -> Counts:
    """Play a situation once, the n-th time."""
    _, row = ROWS[key]
    counts = Counts()
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


_Total = TypeVar("_Total", Counts, Closed)


def add_up(parts: Iterable[_Total], kind: type[_Total]) -> _Total:
    """Counts of several runs as one; the worst stays the worst."""
    total = kind()
    for part in parts:
        for one in fields(total):
            was, more = getattr(total, one.name), getattr(part, one.name)
            setattr(total, one.name, max(was, more) if one.name == "worst" else was + more)
    return total


class Kept:
    """Runs that are written to a file as they end, so that a bench can be played in turns."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._parts: dict[tuple[str, int, int], dict[str, object]] = {}
        if path is not None and path.exists():
            for line in path.read_text().splitlines():
                key, n, seed, counts = json.loads(line)
                self._parts[key, n, seed] = counts

    def has(self, key: str, n: int, seed: int) -> bool:
        return (key, n, seed) in self._parts

    def add(self, key: str, n: int, seed: int, counts: Counts | Closed) -> None:
        self._parts[key, n, seed] = asdict(counts)
        if self._path is not None:
            with self._path.open("a") as file:
                file.write(json.dumps([key, n, seed, asdict(counts)]) + "\n")

    def counts(self, key: str, seed: int) -> Counts:
        return add_up((Counts(**c) for c in self._of(key, seed)), Counts)  # type: ignore[arg-type]

    def closed(self, key: str, seed: int) -> Closed:
        return add_up((Closed(**c) for c in self._of(key, seed)), Closed)  # type: ignore[arg-type]

    def _of(self, key: str, seed: int) -> list[dict[str, object]]:
        return [c for (k, _, s), c in sorted(self._parts.items()) if k == key and s == seed]


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
    options = dict(word.split("=", 1) for word in sys.argv[1:] if "=" in word)
    asked = [w for w in sys.argv[1:] if not w.isdigit() and "=" not in w and w != "mishaps"]
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    runs = numbers[0] if numbers else 14
    seed = numbers[1] if len(numbers) > 1 else 13
    kept = Kept(Path(options["keep"]) if "keep" in options else None)
    until_s = time.monotonic() + 60.0 * float(options.get("minutes", "1e6"))
    rows = [key for key in ROWS if not asked or key in asked]
    loops = list(NAMES) if not asked or "closed" in asked else []
    for n in range(runs):  # every row a little, so that all of them are there when time is up
        for key in rows:
            if time.monotonic() < until_s and not kept.has(key, n, seed):
                kept.add(key, n, seed, run_one(key, n, seed))
    for visit in range(-(-runs // 3)):
        for kind in loops:
            key = f"closed {kind}"
            if time.monotonic() < until_s and not kept.has(key, visit, seed):
                kept.add(key, visit, seed, closed_loop(kind, visit, seed))
    _print_rows(rows, kept, seed)
    if loops:
        print("\nclosed loop  pipes  done  false   worst  seconds  moves    cpu")
        for kind in loops:
            closed = kept.closed(f"closed {kind}", seed)
            if closed.pipes:
                print_closed(kind, closed)


def _print_rows(rows: list[str], kept: Kept, seed: int) -> None:
    if rows:
        print(
            "situation                          runs  wrong  runs  for,s  opposite  false   back"
            "  done  missed  to done  in 2σ    cpu"
        )
    notes = []
    for key in rows:
        counts = kept.counts(key, seed)
        if counts.runs:
            print_row(key, counts)
        notes += [f"{ROWS[key][0]}: {note}" for note in counts.notes]
    for note in notes:
        print("    " + note)


if __name__ == "__main__":
    main()
