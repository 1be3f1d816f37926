"""What must be done, and divisions tied within a limit, against every possible choice."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.planning.tasks import a_task
from walkboard.errors import NotEnoughMinutesError
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.task import Parts, Task
from walkboard.planning.choose.tied import below, least


def with_musts(task: Task, seed: int, share: float) -> Task:
    """Some pipes must be tuned, more of them away from the middle reference."""
    rng = np.random.default_rng(seed)
    _, pipes = task.gain.shape
    stands = rng.normal(0.0, 3.0, pipes)
    asked = rng.random(pipes) < share
    must = asked & (np.abs(stands - task.references_cents[:, None]) > 2.0)
    return replace(task, must=must)


def in_parts(task: Task, seed: int, within: int) -> Task:
    """Each chest a part; the parts' untouched badness sums to the whole."""
    rng = np.random.default_rng(seed)
    task = replace(task, levels=task.levels[:2])
    parts = len(task.levels[-1].starts)
    shares = rng.dirichlet(np.ones(parts), len(task.references_cents))
    by_part = task.untouched[:, None] * shares
    return replace(task, parts=Parts(np.arange(parts), by_part, within))


def least_of_all(task: Task, capacity: int) -> float:
    """Least cost over every set of pipes and every set of references, tried one by one."""
    references, pipes = task.gain.shape
    parts = 1 if task.parts is None else len(task.parts.starts)
    within = 0 if task.parts is None else task.parts.within
    rows = [
        task.row(at)
        for at in product(range(references), repeat=parts)
        if max(at) - min(at) <= within
    ]
    untouched = np.array([row.untouched for row in rows])
    gain = np.array([row.gain for row in rows])
    must = np.array([np.zeros(pipes, bool) if row.must is None else row.must for row in rows])
    best = np.inf
    for bits in product((False, True), repeat=pipes):
        chosen = np.array(bits)
        if task.time_of(chosen) <= capacity:
            allowed = ~(must & ~chosen).any(axis=1)
            costs = np.where(allowed, untouched - gain[:, chosen].sum(axis=1), np.inf)
            best = min(best, float(costs.min()))
    return best


@pytest.mark.parametrize("seed", range(40))
def test_must_do_equals_brute_force(seed: int) -> None:
    task = with_musts(a_task(8, 7, seed, ranks=4), seed, 0.4)
    capacity = 40 + 7 * seed
    least_cost = least_of_all(task, capacity)
    if not np.isfinite(least_cost):
        with pytest.raises(NotEnoughMinutesError, match="minutes more than there are"):
            choose(task, capacity)
        return
    chosen = choose(task, capacity)
    assert_allclose(chosen.cost, least_cost, rtol=0, atol=1e-9)
    assert_allclose(chosen.bound, chosen.cost, rtol=0, atol=1e-9)
    row = task.row(chosen.references)
    assert row.must is not None
    assert not np.any(row.must & ~chosen.pipes)
    assert_allclose(row.cost_of(chosen.pipes), chosen.cost, rtol=0, atol=1e-12)


@pytest.mark.parametrize("within", [1, 2])
@pytest.mark.parametrize("share", [0.0, 0.4])
@pytest.mark.parametrize("seed", range(12))
def test_tied_divisions_equal_brute_force(seed: int, share: float, within: int) -> None:
    base = a_task(8, 6, 100 + seed, ranks=12)
    task = in_parts(base if share == 0.0 else with_musts(base, seed, share), seed, within)
    assert task.parts is not None
    assert len(task.parts.starts) == 3
    capacity = 30 + 25 * seed
    least_cost = least_of_all(task, capacity)
    if not np.isfinite(least_cost):
        with pytest.raises(NotEnoughMinutesError):
            choose(task, capacity)
        return
    chosen = choose(task, capacity)
    assert_allclose(chosen.cost, least_cost, rtol=0, atol=1e-9)
    assert max(chosen.references) - min(chosen.references) <= within


def test_a_tie_of_nothing_is_one_reference_for_all() -> None:
    task = a_task(300, 33, 5, ranks=16, off_cents=1.0)
    tied = choose(in_parts(task, 1, 0), 1500)
    assert len(set(tied.references)) == 1
    assert_allclose(
        tied.cost, choose(replace(task, levels=task.levels[:2]), 1500).cost, rtol=0, atol=1e-9
    )


def test_freedom_never_costs() -> None:
    task = a_task(300, 33, 6, ranks=16)
    costs = [choose(in_parts(task, 2, within), 1500).cost for within in (0, 1, 2, 4)]
    assert np.all(np.diff(costs) <= 1e-9)


def test_the_missing_minutes_are_just_enough() -> None:
    """With the minutes that were missing the plan can be made; with a step less it cannot."""
    task = with_musts(a_task(40, 5, 3, ranks=6), 3, 0.9)
    with pytest.raises(NotEnoughMinutesError) as caught:
        choose(task, 60)
    enough = 60 + round(caught.value.missing_minutes / 0.05)
    assert choose(task, enough).pipes.any()
    with pytest.raises(NotEnoughMinutesError, match=r"0\.1 minutes more"):
        choose(task, enough - 1)


def test_sets_of_references_are_listed_once_and_in_order() -> None:
    rng = np.random.default_rng(4)
    values = rng.uniform(0.0, 1.0, (6, 3))
    listed = list(below(values, 2, 1.2))
    expected = sorted(
        (float(values[list(at), range(3)].sum()), at)
        for at in product(range(6), repeat=3)
        if max(at) - min(at) <= 2 and values[list(at), range(3)].sum() < 1.2
    )
    assert [at for at, _ in listed] == [at for _, at in expected]
    assert least(values, 2)[0] == listed[0][0]
