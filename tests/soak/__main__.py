"""The whole soak, as ``python -m tests.soak [MINUTES]``: an hour unless another length is given.

Prints one table and exits 1 if anything was lost, hung or unclear. Failing inputs are kept in
``tests/soak/cases``, and the tests read them again from then on.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from functools import partial
from pathlib import Path
from random import Random

from tests.soak.inputs import KINDS, Kind, fuzz
from tests.soak.kill_merges import kill_merges
from tests.soak.kills import failing_disk, kill, kill_builders, ticks
from tests.soak.lost_links import lose_links
from tests.soak.tally import HEAD, Tally

Part = Callable[[Random, int, Path], Tally]
KILLS, INPUTS = 10_000, 100_000  # of an hour on two idle cores; a shorter soak does a share


def parts() -> list[tuple[Part, int]]:
    """What a whole soak does, and how often."""
    found: list[tuple[Part, int]] = [
        (kill, KILLS - 1_500),
        (kill_builders, 1_000),
        (kill_merges, 500),
        (ticks, 4_000),
        (failing_disk, 10_000),
        (lose_links, 10_000),
    ]
    heavy = {"exports of a book": 4_000, "stop lists": 6_000, "music": 10_000}
    light = (INPUTS - sum(heavy.values())) // (len(KINDS) - len(heavy))
    found += [(partial(_fuzz, kind), heavy.get(kind.name, light)) for kind in KINDS]
    return found


def say(words: str) -> None:
    """Print at once, however the output is redirected."""
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def _fuzz(kind: Kind, random: Random, count: int, folder: Path) -> Tally:
    return fuzz(kind, random, count, folder)


def main() -> int:
    """Run it, print the table."""
    warnings.simplefilter("error")
    share = (float(sys.argv[1]) if len(sys.argv) > 1 else 60.0) / 60.0
    seed = int.from_bytes(os.urandom(4), "big")
    say(f"seed {seed}\n{HEAD}")
    failed = []
    for n, (part, count) in enumerate(parts()):
        begun_s = time.perf_counter()
        with tempfile.TemporaryDirectory() as folder:
            tally = part(Random(seed + n), max(1, round(share * count)), Path(folder))
        say(f"{tally.row()}   {time.perf_counter() - begun_s:6.0f} s")
        failed += tally.notes
    say("\n".join(failed[:200]))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
