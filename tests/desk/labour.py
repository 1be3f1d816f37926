"""Work for other processes to do, in a module that loads fast."""

from __future__ import annotations

import os
import time

from walkboard.desk.background.jobs import Progress
from walkboard.errors import InputError


def count(progress: Progress, to: int) -> int:
    for number in range(to):
        progress(number + 1, to)
    return to


def fail(progress: Progress) -> None:
    progress(1, 4)
    raise InputError("The recording is silent.", fix="Record again.")


def break_off(_: Progress) -> None:
    os._exit(3)


def sleep(progress: Progress) -> None:
    progress(1, 2)
    time.sleep(60.0)


def niceness(_: Progress) -> int:
    return os.nice(0)
