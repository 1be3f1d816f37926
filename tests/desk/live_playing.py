"""Recordings of pipes of a worklist with given deviations, to be played to the desk as if live."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile
from playwright.sync_api import Page

from tests.desk.conftest import Server
from tests.listening.live_sounds import RATE, moved, still
from walkboard.desk.live.start import tasks_of_groups
from walkboard.work.live.values import Task
from walkboard.work.snapshot import opened_to_see
from walkboard.work.worklist import work_groups


def open_tasks(server: Server) -> tuple[Task, ...]:
    """The pipes of the open visit that are not done, as a session takes them."""
    with opened_to_see(server.book) as book:
        return tasks_of_groups(work_groups(book, book.visits(1)[-1]) or ())


def write(path: Path, *played: tuple[Task, float, float]) -> Path:
    """A recording of pipes one after another: of each its task, cents off, and seconds."""
    sounds = [
        moved(
            task.target_hz * 2.0 ** (cents / 1200.0),
            still,
            "flue",
            np.random.default_rng(3),
            seconds=seconds,
            reverberation_s=1.0,
        ).samples
        for task, cents, seconds in played
    ]
    soundfile.write(path, np.concatenate(sounds), RATE, subtype="PCM_16")
    return path


def play(page: Page, server: Server, path: Path) -> None:
    """Start a session on a recording."""
    answer = page.request.post(
        f"{server.address}/organ/1/live/play?name={path.name}",
        data=path.read_bytes(),
        headers={"Content-Type": "application/octet-stream"},
    )
    assert answer.status == 201, answer.text()


def cents_on(page: Page) -> float:
    """What the page shows, with its sign from the word beside it."""
    text, word = page.inner_text("#m-cents"), page.inner_text("#m-word")
    if text in {"", "–"}:
        return float("nan")
    return float(text) * (-1.0 if "flat" in word else 1.0)
