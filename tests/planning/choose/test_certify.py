"""The choice against every possible choice, against an outside solver, and against itself."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.planning.tasks import a_task, highs_least
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.task import Level, Task


def least_of_all(task: Task, capacity: int) -> float:
    """Least cost over every set of pipes and every reference, tried one by one."""
    pipes = task.gain.shape[1]
    least = float(task.untouched.min())
    for bits in product((False, True), repeat=pipes):
        chosen = np.array(bits)
        if task.time_of(chosen) <= capacity:
            costs = task.untouched - task.gain[:, chosen].sum(axis=1)
            least = min(least, float(costs.min()))
    return least


@pytest.mark.parametrize("seed", range(40))
def test_equals_brute_force(seed: int) -> None:
    """Every set of 9 pipes in 4 ranks at 9 references."""
    task = a_task(9, 9, seed, ranks=4, off_cents=float(seed % 5 - 2))
    capacity = 30 + 7 * seed
    chosen = choose(task, capacity)
    assert_allclose(chosen.cost, least_of_all(task, capacity), rtol=0, atol=1e-9)
    assert_allclose(chosen.bound, chosen.cost, rtol=0, atol=1e-9)
    assert task.time_of(chosen.pipes) <= capacity
    assert_allclose(task.cost_of(chosen.reference, chosen.pipes), chosen.cost, rtol=0, atol=1e-12)


@pytest.mark.parametrize(("seed", "capacity"), [(1, 600), (2, 1000), (3, 1600)])
def test_an_outside_solver_agrees_at_one_reference(seed: int, capacity: int) -> None:
    """HiGHS, a general mixed-integer solver, on 200 pipes."""
    task = a_task(200, 1, seed, ranks=8)
    assert_allclose(choose(task, capacity).cost, highs_least(task, capacity), rtol=0, atol=1e-6)


def test_the_optimum_over_references_is_the_best_of_each_alone() -> None:
    task = a_task(300, 33, 5, ranks=10, off_cents=3.0)
    alone = [
        choose(
            Task(
                task.references_cents[[k]],
                task.untouched[[k]],
                task.gain[[k]],
                task.steps,
                task.levels,
            ),
            1500,
        ).cost
        for k in range(33)
    ]
    chosen = choose(task, 1500)
    assert_allclose(chosen.cost, min(alone), rtol=0, atol=1e-9)
    assert chosen.reference == int(np.argmin(alone))


def test_proves_the_optimum_of_a_large_organ() -> None:
    task = a_task(2400, 161, 7, ranks=42)
    chosen = choose(task, 4800)
    assert chosen.cost - chosen.bound <= 0.001 * float(task.untouched.min())
    assert task.time_of(chosen.pipes) <= 4800


def test_the_bound_holds_against_chance_plans() -> None:
    """No plan drawn by chance and filled up greedily gets below the certificate."""
    task = a_task(400, 41, 11, ranks=12)
    capacity = 1200
    bound = choose(task, capacity).bound
    rng = np.random.default_rng(3)
    for _ in range(60):
        reference = int(rng.integers(41))
        chosen = np.zeros(400, dtype=bool)
        liking = task.gain[reference] / task.steps * rng.lognormal(0.0, 0.4, 400)
        for pipe in np.argsort(-liking)[:200]:
            chosen[pipe] = True
            if task.time_of(chosen) > capacity or task.gain[reference, pipe] <= 0.0:
                chosen[pipe] = False
        assert task.cost_of(reference, chosen) >= bound - 1e-9


def test_more_minutes_never_leave_more() -> None:
    task = a_task(250, 21, 13, ranks=9)
    costs = [choose(task, capacity).cost for capacity in range(0, 4000, 160)]
    assert np.all(np.diff(costs) <= 1e-9)
    everything = float((task.untouched - np.maximum(task.gain, 0.0).sum(axis=1)).min())
    assert_allclose(choose(task, 100_000).cost, everything, rtol=0, atol=1e-9)


def test_an_organ_off_pitch_is_tuned_to_its_own_pitch() -> None:
    """Three cents sharp of the grid's middle: retuning it all down would waste the visit."""
    task = a_task(600, 161, 17, ranks=12, off_cents=3.0)
    chosen = choose(task, 1200)
    assert_allclose(task.references_cents[chosen.reference], 3.0, rtol=0, atol=0.6)


def test_no_minutes_and_no_pipes_change_nothing() -> None:
    task = a_task(20, 5, 1, ranks=3)
    idle = choose(task, 0)
    assert not idle.pipes.any()
    assert idle.cost == idle.bound == float(task.untouched.min())
    none = Task(
        task.references_cents, task.untouched, np.zeros((5, 0)), np.zeros(0, dtype=np.int64), ()
    )
    assert choose(none, 100).cost == float(task.untouched.min())


def test_a_rank_too_far_to_reach_is_left() -> None:
    """One pipe worth much behind a set-up that does not fit; a lesser one at hand."""
    task = Task(
        np.zeros(1),
        np.array([3.0]),
        np.array([[2.0, 0.5]]),
        np.array([10, 10]),
        (Level(np.array([0, 1]), np.array([90, 5])),),
    )
    assert choose(task, 50).pipes.tolist() == [False, True]
    assert choose(task, 100).pipes.tolist() == [True, False]
    assert choose(task, 115).pipes.tolist() == [True, True]
