"""A short synthesised walk of an invented chapel, and a book that waits for a visit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from tests.survey.organs import SMALL, rendered_walk
from walkboard.book.opening import create_book
from walkboard.organ.reading import read_organ
from walkboard.work.open_book import now

STOP, KEYS, DEAD = "great.principal8", 8, "F#3"


def make_walk(path: Path, stop: str = STOP, *, keys: int = KEYS, dead: str | None = DEAD) -> None:
    """Some keys of a stop from C3 up, one of them silent; as it is eight, F#3."""
    walk = rendered_walk(read_organ(SMALL), stop, keys=keys, dead=dead)
    soundfile.write(path, np.asarray(walk.samples), walk.sample_rate, subtype="PCM_24")


def make_empty_book(folder: Path) -> None:
    """A book with the chapel and no visit."""
    with create_book(folder, clock=now) as book:
        book.add_organ(read_organ(SMALL).name, SMALL)
