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


def make_walk(path: Path) -> None:
    """Eight keys of the Principal from C3 up, of which F#3 is silent."""
    walk = rendered_walk(read_organ(SMALL), STOP, keys=KEYS, dead=DEAD)
    soundfile.write(path, np.asarray(walk.samples), walk.sample_rate, subtype="PCM_24")


def make_empty_book(folder: Path) -> None:
    """A book with the chapel and no visit."""
    with create_book(folder, clock=now) as book:
        book.add_organ(read_organ(SMALL).name, SMALL)
