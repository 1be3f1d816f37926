"""The order of work: how fast a way is found, how fast it is proved, and what it is worth."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from walkboard.planning.air_course import AirCourse
from walkboard.planning.route.shortest import BEAMS, Route, Stint, shortest

CASES = 8
DIVISIONS = ("great", "swell", "positive", "solo", "echo", "pedal")


@dataclass(frozen=True, slots=True)
class Case:
    """Ranks on chests, as stints, with the walks between them."""

    stints: list[Stint]
    walk: np.ndarray
    arrive: np.ndarray
    ranks: int


def a_case(ranks: int, seed: int, *, with_air: bool) -> Case:
    """So many ranks on two to four chests a division; a fifth are reeds, a tenth mixtures.

    Walks are by chance, 0.3 to 3 minutes within a division, 1 to 6 between two, made shortest sums.
    The air of each division warms or cools by up to 1.5 °C an hour.
    """
    rng = np.random.default_rng(seed)
    count = min(len(DIVISIONS), 2 + ranks // 8)
    chests = [d for d in range(count) for _ in range(int(rng.integers(2, 5)))]
    size = len(chests)
    near = rng.uniform(0.3, 3.0, (size, size))
    far = rng.uniform(1.0, 6.0, (size, size))
    same = np.equal.outer(chests, chests)
    walk = np.where(same, near, far)
    walk = np.round(np.minimum(walk, walk.T), 1)
    np.fill_diagonal(walk, 0.0)
    for via in range(size):
        walk = np.minimum(walk, walk[:, [via]] + walk[[via]])
    kinds = rng.choice(["flue", "mixture", "reed"], ranks, p=[0.7, 0.1, 0.2])
    place = rng.integers(0, size, ranks)
    place[0], kinds[0] = 0, "flue"  # the reference rank
    pipes = rng.integers(3, 40, ranks)
    air = [
        AirCourse(float(rng.uniform(16, 21)), float(rng.uniform(-1.5, 1.5))) for _ in range(count)
    ]
    event = float(rng.uniform(17, 21))
    stints: list[Stint] = []
    flues: dict[int, set[int]] = {}
    for kind in ("flue", "mixture", "reed"):
        before = frozenset(range(len(stints)))
        for chest in np.unique(place[kinds == kind]):
            which = (kinds == kind) & (place == chest)
            division = chests[int(chest)]
            after: frozenset[int] = frozenset()
            if kind == "reed":
                after = before
            elif kind == "mixture":
                after = frozenset(flues.get(division, set()) | {0})
            elif stints:
                after = frozenset({0})
            if kind == "flue":
                flues.setdefault(division, set()).add(len(stints))
            stints.append(
                Stint(
                    int(chest),
                    DIVISIONS[division],
                    float(pipes[which].sum()) + float(which.sum()),
                    after,
                    reeds=int(pipes[which].sum()) if kind == "reed" else 0,
                    air=air[division] if with_air else None,
                    event_celsius=event if with_air else None,
                )
            )
    return Case(stints, walk, np.full(size, 1.0), ranks)


def division_by_division(case: Case) -> Route:
    """As a tuner without a list goes: divisions in turn, in each the nearest chest next."""
    order: list[int] = []
    at: int | None = None
    left = set(range(len(case.stints)))
    total = 0.0
    while left:
        may = [j for j in left if case.stints[j].after <= set(order)]
        here = None if not order else case.stints[order[-1]].division
        same = [j for j in may if case.stints[j].division == here and not case.stints[j].reeds]
        pick = min(
            same or may,
            key=lambda j: (
                bool(case.stints[j].reeds),
                case.arrive[case.stints[j].chest]
                if at is None
                else case.walk[at, case.stints[j].chest],
            ),
        )
        total += float(
            case.arrive[case.stints[pick].chest]
            if at is None
            else case.walk[at, case.stints[pick].chest]
        )
        at = case.stints[pick].chest
        order.append(pick)
        left.remove(pick)
    clock, cost = 0.0, total
    for j in order:
        cost += float(case.stints[j].air_cost(np.array([clock]))[0])
        clock += case.stints[j].work_minutes
    return Route(tuple(order), total, cost, 0.0)


def main() -> None:
    """Print the tables."""
    print(
        f"{CASES} cases a row. Quick: the first two beams; proof: all; seconds, the slowest in "
        "brackets.\nOff: how far the quick answer is from the best known. Saved: minutes of "
        "walking (and air) against division by division.\n"
    )
    print(
        f"{'ranks':>5s} {'air':>4s} {'stints':>6s} {'quick':>13s} {'off':>6s} {'proved':>7s} "
        f"{'proof':>14s} {'gap':>7s} {'saved':>11s} {'broken':>6s}"
    )
    for with_air in (False, True):
        for ranks in (10, 20, 30, 40):
            quick_s, proof_s, off, gaps, saved, sizes = [], [], [], [], [], []
            proved = broken = 0
            for seed in range(CASES):
                case = a_case(ranks, 100 * ranks + seed, with_air=with_air)
                sizes.append(len(case.stints))
                begun = time.perf_counter()
                quick = shortest(case.stints, case.walk, case.arrive, beams=BEAMS[:2])
                quick_s.append(time.perf_counter() - begun)
                begun = time.perf_counter()
                best = shortest(case.stints, case.walk, case.arrive)
                proof_s.append(time.perf_counter() - begun)
                off.append(quick.cost / best.cost - 1.0)
                gaps.append((best.cost - best.bound) / best.cost)
                proved += best.is_proved
                saved.append(1.0 - best.cost / division_by_division(case).cost)
                for at, j in enumerate(best.order):
                    broken += not case.stints[j].after <= set(best.order[:at])
            print(
                f"{ranks:5d} {'yes' if with_air else 'no':>4s} {np.mean(sizes):6.1f} "
                f"{np.mean(quick_s):6.3f} ({max(quick_s):.2f}) {max(off):6.2%} "
                f"{proved:3d}/{CASES:d}   {np.mean(proof_s):6.2f} ({max(proof_s):5.2f}) "
                f"{max(gaps):7.2%} {np.mean(saved):5.1%} {max(saved):5.1%} {broken:6d}",
                flush=True,
            )


if __name__ == "__main__":
    main()
