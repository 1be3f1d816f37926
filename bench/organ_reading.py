"""How long reading and checking an organ description takes, right and wrong."""

from __future__ import annotations

import statistics
import time

from walkboard.errors import DescriptionError
from walkboard.organ import examples
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz

ROUNDS = 15


def main() -> None:
    hall = examples.hall()
    spoiled = hall.replace('tuned_by = "cone"', 'tuned_by = "stopper"')
    print(f"{'':34}{'pipes':>7}{'problems':>10}{'median ms':>11}{'worst ms':>10}")
    for name, text in (
        ("village, right", examples.village()),
        ("hall, right (asked: under 100)", hall),
        ("hall, every cone a stopper", spoiled),
    ):
        taken, pipes, problems = timed_reading(text)
        print(f"{name:34}{pipes:7}{problems:10}{statistics.median(taken):11.1f}{max(taken):10.1f}")
    organ = read_organ(hall)
    begun_s = time.perf_counter()
    targets = [target_hz(organ, pipe, 17.2) for pipe in organ.pipes()]
    print(f"{len(targets)} targets of the hall in {1000 * (time.perf_counter() - begun_s):.0f} ms")


def timed_reading(text: str) -> tuple[list[float], int, int]:
    """Times [ms], pipes of the organ, problems of the description."""
    taken, pipes, problems = [], 0, 0
    for _ in range(ROUNDS):
        begun_s = time.perf_counter()
        try:
            organ = read_organ(text)
        except DescriptionError as error:
            problems = len(error.problems)
        else:
            pipes = sum(rank.pipes for rank in organ.ranks)
        taken.append(1000 * (time.perf_counter() - begun_s))
    return taken, pipes, problems


if __name__ == "__main__":
    main()
