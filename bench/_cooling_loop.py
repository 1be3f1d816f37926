"""A tuner who does only what the screen says, on the handled pipes of `bench._cooling`.

As the closed loop of `bench mishaps`, but on readings instead of sound: a few seconds a pipe, so
that what is thought of hands and of cooling can be studied on many.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench._cooling import STEP_S, Cooling
from bench._hands import HANDS
from bench._mishap_scenes import RANKS, organ
from walkboard.condition.settling.moves import MoveSeen, learn_hand
from walkboard.organ.model import PipeRef
from walkboard.organ.targets import target_hz
from walkboard.work.live.judge import Ground, judge
from walkboard.work.live.pipe import AtPipe
from walkboard.work.live.values import Step, Task
from walkboard.work.live.warmth import usual_warmth

MOST_S = 240.0  # that the tuner gives a pipe
_NUMBER = 20
_PATIENCE_S = 10.0  # before the tuner leaves a pipe that is to be waited for


@dataclass(frozen=True)
class Played:
    """What became of one pipe; `opposite_s` is the longest advice away from its target."""

    done_s: float | None
    rest_cents: float
    moves: int
    opposite_s: float


def make(kind: str, law: str, rng: np.random.Generator) -> Cooling:
    """A pipe 1.5 to 20 cents off."""
    heat_cents, _ = HANDS[RANKS[kind][1]]
    return Cooling(
        rng,
        law,
        tau_s=float(rng.uniform(20.0, 80.0)),
        heat_cents=float(heat_cents * rng.uniform(0.3, 1.6)),
        rest_cents=float(rng.choice([-1.0, 1.0]) * rng.uniform(1.5, 20.0)),
        wander_cents=float(rng.uniform(0.03, 0.1)),
    )


def play(
    kind: str, pipe: Cooling, most_s: float = MOST_S, hand: str = "asked", away_s: float = 0.0
) -> Played:
    """Follow the screen until it says that the pipe is done.

    The hand moves about as asked, `sticks` (a third of its moves move nothing, a third twice as
    far), or moves `by number`: until the number on the screen, the pipe still warm, is in tune.
    With `away_s`, the tuner leaves a pipe that is to be waited for, and comes back so much later;
    only time at the pipe counts.
    """
    rng = pipe.rng
    rank = organ().rank(RANKS[kind][0])
    ref = PipeRef(rank.id, _NUMBER)
    hz = target_hz(organ(), ref, 20.0)
    task = Task(ref, rank.key_of(_NUMBER), rank.id, hz)
    factor = float(rng.uniform(0.7, 1.35))
    work, seen = AtPipe(usual_warmth(rank.tuned_by_of(_NUMBER))), list[MoveSeen]()
    moves, asked, longest_s, opposite_s = 0, 0.0, 0.0, 0.0
    wanted_s: float | None = None
    until_s, next_s = -1.0, 0.6
    began_s, left_s, waits_s = 0.0, 0.0, 0.0
    while pipe.now_s - left_s < most_s:
        pipe.step()
        if 0.0 < until_s < pipe.now_s:
            pipe.is_on, until_s = False, -1.0
            next_s = pipe.now_s + float(rng.uniform(0.6, 1.6))
        reading = pipe.reading(hz, began_s=began_s)
        if reading is None:
            continue
        verdict = judge(task, reading, work, Ground(organ(), 20.0, 0.5, None, seen))
        if verdict.move is not None:
            seen.append(verdict.move)
        if verdict.step is Step.DONE:
            return Played(pipe.now_s - left_s, pipe.rest_cents, moves, longest_s)
        waits_s = waits_s + STEP_S if verdict.step is Step.WAIT and not pipe.is_on else 0.0
        if away_s and waits_s > _PATIENCE_S:
            work.leave()
            for _ in range(round(away_s / STEP_S)):
                pipe.step()
            began_s, left_s, waits_s = pipe.now_s, left_s + away_s, 0.0
            next_s, wanted_s = pipe.now_s + 0.6, None
            continue
        advice = verdict.advice
        wrong = (
            advice is not None and abs(pipe.rest_cents) > 1.0 and advice.cents * pipe.rest_cents > 0
        )
        opposite_s = opposite_s + STEP_S if wrong else 0.0
        longest_s = max(longest_s, opposite_s)
        if advice is None or until_s > 0.0 or pipe.now_s < next_s:
            wanted_s = None
            continue
        same = asked * advice.cents > 0.0
        asked = advice.cents
        if wanted_s is None or not same:
            wanted_s = pipe.now_s
        elif pipe.now_s - wanted_s >= 0.4:
            pipe.is_on, wanted_s = True, None
            until_s = pipe.now_s + float(rng.uniform(0.8, 2.0))
            aimed = advice.cents / learn_hand(seen).gain
            got = aimed * factor * float(1.0 + 0.12 * rng.standard_normal())
            if hand == "sticks":
                got *= float(rng.choice([0.0, 1.0, 2.0]))
            if hand == "by number":
                warms = pipe.heat_cents * (1.0 - np.exp(-(until_s - pipe.now_s) / pipe.heats_s))
                got = -pipe.rest_cents - pipe.warm_cents - float(warms)
                got += float(rng.uniform(-0.3, 0.3))
            pipe.move(float(np.clip(got, -40.0, 40.0)))  # a slide has ends
            moves += 1
    return Played(None, pipe.rest_cents, moves, longest_s)


def table(runs: int, seed: int) -> None:
    """Every kind and way to cool: done, false, opposite; seconds; then pipes nobody touched."""
    print("\n  kind       cools    pipes  done  false  opposite  worst   median s   90 %   moves")
    for kind in ("principal", "string", "stopped", "cone", "reed"):
        for law in ("law", "apart", "spread"):
            found = [
                play(kind, make(kind, law, np.random.default_rng([seed, n, len(law), len(kind)])))
                for n in range(runs)
            ]
            _print(kind, law, found)
    print("\n  nobody touched it; still and in tune, or warm and just on its target")
    for kind in ("principal", "stopped", "cone"):
        for law in ("law", "apart"):
            for warm in (False, True):
                found = []
                for n in range(4 * runs):
                    rng = np.random.default_rng([seed, n, len(law), len(kind), 9])
                    pipe = make(kind, law, rng)
                    pipe.rest_cents = float(rng.uniform(-0.2, 0.2))
                    if warm:
                        cents = float(rng.choice([-1.0, 1.0], p=[0.1, 0.9]) * rng.uniform(3.0, 9.0))
                        pipe.warm_by(cents)
                        pipe.rest_cents -= cents
                    found.append(play(kind, pipe, 12.0))
                _print(kind, f"{law}, {'warm' if warm else 'still'}", found)


def _print(kind: str, law: str, found: list[Played]) -> None:
    done = [p for p in found if p.done_s is not None]
    false = sum(abs(p.rest_cents) > 0.5 for p in done)
    opposite = sum(p.opposite_s > 0.6 for p in found)
    worst = max((abs(p.rest_cents) for p in done), default=0.0)
    seconds = np.quantile([p.done_s or 0.0 for p in done], [0.5, 0.9]) if done else (0.0, 0.0)
    print(
        f"  {kind:10s} {law:12s}{len(found):6d}{len(done):6d}{false:7d}{opposite:10d}{worst:7.2f}"
        f"{seconds[0]:11.1f}{seconds[1]:7.1f}{np.mean([p.moves for p in found]):8.1f}",
        flush=True,
    )
