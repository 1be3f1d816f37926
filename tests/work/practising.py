"""A tuner who only follows the screen, on the practice organ; for a test and a study."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from walkboard.capture.playing import NoWait
from walkboard.demo.hall import HallState, hall_state
from walkboard.demo.practice.hall import practice_pipes
from walkboard.demo.practice.organ import PracticeOrgan
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef, TunedBy
from walkboard.organ.reading import read_organ
from walkboard.work.live.flow import TuningFlow
from walkboard.work.live.values import Outcome, Result, Shown, Step, Task

MOST_S = 240.0  # that the tuner gives a pipe
HANDLED_S = 1.2  # that a hand stays on a pipe for one move


@dataclass(frozen=True)
class Tuned:
    """One pipe after the visit; cents are the truth at rest."""

    task: Task
    result: Result | None
    before_cents: float
    after_cents: float
    seconds: float
    moves: int


def worklist(organ: Organ, state: HallState, pipes: list[PipeRef]) -> list[Task]:
    return [
        Task(ref, organ.rank(ref.rank).key_of(ref.number), ref.rank, state.pipes[ref].target_hz)
        for ref in pipes
    ]


def hall() -> tuple[Organ, HallState]:
    organ = read_organ(examples.hall(), where="hall")
    return organ, hall_state(organ, 11)


def strays(organ: Organ, state: HallState, per_device: dict[TunedBy, int]) -> list[PipeRef]:
    """Pipes 1.5 to 30 cents off, so many of each device, spread over the compass."""
    chosen = []
    for device, count in per_device.items():
        off = [
            ref
            for ref in organ.pipes()
            if organ.rank(ref.rank).tuned_by is device
            and organ.rank(ref.rank).celeste_beats_hz is None
            and 1.5 < abs(state.cents(ref)) < 30.0
            and 60.0 < state.pipes[ref].target_hz < 3000.0
        ]
        chosen += [off[i] for i in np.linspace(0, len(off) - 1, count).round().astype(int)]
    return chosen


def tune(
    organ: Organ, state: HallState, pipes: list[PipeRef], seed: int, *, room_s: float = 1.2
) -> list[Tuned]:
    """Follow the screen until the worklist is through."""
    rng = np.random.default_rng(seed)
    practice = PracticeOrgan(
        practice_pipes(organ, state, pipes, rng), NoWait(), rng, block_s=0.05, room_s=room_s
    )
    before = {ref: pipe.at_rest_cents for ref, pipe in practice.pipes.items()}
    tasks = worklist(organ, state, pipes)
    flow = TuningFlow(organ, tasks, practice.sample_rate, state.air_celsius, update_s=0.2)
    begun: dict[PipeRef, float] = {}
    spent: dict[PipeRef, float] = {}
    moves = dict.fromkeys(pipes, 0)
    holding: PipeRef | None = None
    handling_until_s = -1.0
    next_move_s = -1.0
    for block in practice.blocks():
        task = flow.task
        if task is None:
            break
        if task.pipe != holding:
            holding = task.pipe
            practice.hold(holding)
            begun.setdefault(holding, practice.now_s)
            next_move_s = practice.now_s + 1.0
        if handling_until_s > 0.0 and practice.now_s > handling_until_s:
            practice.let_go(holding)
            handling_until_s = -1.0
        for shown in flow.take(block.samples, block.start_s):
            if shown.finished is not None:
                spent[holding] = practice.now_s - begun[holding]
                practice.let_go(holding)
                handling_until_s = -1.0
                break
            if shown.step is Step.MOVE and shown.advice and practice.now_s > next_move_s:
                practice.touch(holding)
                _obey(practice, holding, shown)
                moves[holding] += 1
                handling_until_s = practice.now_s + HANDLED_S
                next_move_s = practice.now_s + HANDLED_S + 2.0
        if flow.task is not None and practice.now_s - begun[holding] > MOST_S:
            spent[holding] = MOST_S
            flow.skip()
            if all(result.outcome is Outcome.SKIPPED for result in flow.results[-2:]):
                break
    results = {result.task.pipe: result for result in flow.results}
    return [
        Tuned(
            task,
            results.get(task.pipe),
            before[task.pipe],
            practice.pipes[task.pipe].at_rest_cents,
            spent.get(task.pipe, float("nan")),
            moves[task.pipe],
        )
        for task in tasks
    ]


def _obey(practice: PracticeOrgan, pipe: PipeRef, shown: Shown) -> None:
    """Do what the screen says: so many millimetres, or by the cents that it shows."""
    assert shown.advice is not None
    move = shown.advice.movement
    if move.least_mm is not None and move.most_mm is not None:
        longer = -1.0 if shown.advice.cents > 0.0 else 1.0
        practice.move_mm(pipe, longer * 0.5 * (move.least_mm + move.most_mm))
    else:
        practice.move_cents(pipe, shown.advice.cents)
