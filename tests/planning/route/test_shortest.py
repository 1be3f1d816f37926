"""The order of stints against every order there is."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from walkboard.planning.air_course import AirCourse
from walkboard.planning.route.shortest import MINUTES_A_REED_AND_DEGREE, Stint, shortest


def a_case(
    seed: int, flues: int, mixtures: int, reeds: int, *, with_air: bool
) -> tuple[list[Stint], np.ndarray, np.ndarray]:
    """Chests in two divisions by chance; walks by shortest sums, so that they keep the triangle."""
    rng = np.random.default_rng(seed)
    chests = max(flues, reeds)
    place = rng.uniform(0.0, 4.0, (chests, 2))
    walk = np.hypot(*(place[:, None] - place[None]).transpose(2, 0, 1)).round(1)
    for via in range(chests):
        walk = np.minimum(walk, walk[:, [via]] + walk[[via]])
    division = ["great" if c % 2 else "swell" for c in range(chests)]
    stints = [Stint(c, division[c], float(rng.uniform(5, 40))) for c in range(flues)]
    for c in range(mixtures):
        before = {i for i in range(flues) if division[i] == division[c]}
        stints.append(Stint(c, division[c], 10.0, frozenset(before)))
    all_flues = frozenset(range(len(stints)))
    for c in range(reeds):
        air = AirCourse(float(rng.uniform(17, 20)), float(rng.uniform(-2, 2)))
        stints.append(
            Stint(
                c,
                division[c],
                float(rng.uniform(5, 60)),
                all_flues,
                reeds=int(rng.integers(1, 60)),
                air=air if with_air else None,
                event_celsius=19.0,
            )
        )
    return stints, walk, np.full(chests, 1.0)


def cost_of(order, stints, walk, arrive) -> float:
    """Counted by hand: walks, and for each reed stint the air at its middle by the clock."""
    total, clock, at = 0.0, 0.0, None
    done: set[int] = set()
    for j in order:
        stint = stints[j]
        if not stint.after <= done:
            return np.inf
        total += arrive[stint.chest] if at is None else walk[at, stint.chest]
        if stint.air is not None and stint.reeds:
            air = stint.air.at(clock + stint.work_minutes / 2.0)
            total += MINUTES_A_REED_AND_DEGREE * stint.reeds * abs(air - stint.event_celsius)
        clock += stint.work_minutes
        done.add(j)
        at = stint.chest
    return total


@pytest.mark.parametrize("with_air", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_equals_the_best_of_all_orders(seed: int, with_air: bool) -> None:
    stints, walk, arrive = a_case(seed, 4, seed % 2 + 1, 2, with_air=with_air)
    best = min(cost_of(order, stints, walk, arrive) for order in permutations(range(len(stints))))
    found = shortest(stints, walk, arrive)
    assert_allclose(found.cost, best, rtol=0, atol=1e-9)
    assert_allclose(cost_of(found.order, stints, walk, arrive), best, rtol=0, atol=1e-9)
    assert found.is_proved
    assert_allclose(found.bound, best, rtol=0, atol=1e-6)


def test_a_narrow_beam_says_what_it_could_not_prove() -> None:
    stints, walk, arrive = a_case(3, 10, 0, 8, with_air=True)
    narrow = shortest(stints, walk, arrive, beams=(2,))
    wide = shortest(stints, walk, arrive)
    assert narrow.bound <= wide.cost + 1e-9
    assert narrow.cost >= wide.cost - 1e-9
    assert not narrow.is_proved
    assert wide.is_proved


def test_what_waits_for_itself_is_refused() -> None:
    ring = [Stint(0, "great", 1.0, frozenset({1})), Stint(0, "great", 1.0, frozenset({0}))]
    with pytest.raises(ValueError, match="runs in a circle"):
        shortest(ring, np.zeros((1, 1)), np.ones(1))


def test_nothing_to_do_is_no_way() -> None:
    assert shortest([], np.zeros((0, 0)), np.zeros(0)).order == ()


def test_more_stints_than_can_be_proved_are_ordered_all_the_same() -> None:
    """Forty chests with flues and reeds: no precedence broken, and nothing said to be proved."""
    stints, walk, arrive = a_case(5, 40, 4, 40, with_air=True)
    found = shortest(stints, walk, arrive)
    assert sorted(found.order) == list(range(84))
    assert_allclose(cost_of(found.order, stints, walk, arrive), found.cost, rtol=0, atol=1e-9)
    assert not found.is_proved
