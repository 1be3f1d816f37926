"""An hour of a live session, played faster than it sounds: does memory stay flat, is all kept?

A minute of sound is played sixty times through source, recorder, tracker, flow and book, two
updates a second, each sent as the pages get it. Asked: memory flat over an hour, no block lost.
Run: python -m bench live_soak
"""

from __future__ import annotations

import json
import os
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile
from tests.listening.live_sounds import RATE, moved, still

from walkboard.capture.source import Block
from walkboard.desk.live.messages import live_message
from walkboard.organ import examples
from walkboard.organ.model import PipeRef
from walkboard.organ.targets import target_hz
from walkboard.planning.plan import PlanItem
from walkboard.work import open_book
from walkboard.work.live.session import Place, TuningSession, tasks_of

MINUTES = 60
EVERY = 10
UPDATE_S = 0.5  # fewer than live, so that the hour is through in minutes
PIPES = tuple(PipeRef("great.octave4", n) for n in (13, 25, 37))
_SIZE = RATE // 50


class Looped:
    """A minute of sound again and again, as fast as it is asked for."""

    name = "looped"
    sample_rate = RATE
    channels = 1

    def __init__(self, minute: np.ndarray, minutes: int) -> None:
        self._minute = minute.astype(np.float32)
        self._minutes = minutes

    def blocks(self) -> Iterator[Block]:
        for n in range(self._minutes):
            for first in range(0, len(self._minute), _SIZE):
                at_s = (n * len(self._minute) + first) / RATE
                yield Block(self._minute[first : first + _SIZE], at_s)

    def close(self) -> None:
        """Nothing to close."""


def minute_of_sound(hz: tuple[float, ...]) -> np.ndarray:
    """Pipes held one after another for three seconds each, off by 3 to 9 cents, for a minute."""
    rng = np.random.default_rng(8)
    parts = []
    for n in range(20):
        off = 2.0 ** (rng.uniform(3.0, 9.0) * rng.choice([-1.0, 1.0]) / 1200.0)
        note = moved(hz[n % len(hz)] * off, still, "flue", rng, seconds=2.7, lead_s=0.3)
        parts.append(note.samples)
    return np.concatenate(parts)


def memory_mb() -> float:
    """Resident memory [MB] (proc(5), field 2 of statm)."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def main() -> None:
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        text = folder / "hall.toml"
        text.write_text(examples.hall(), encoding="utf-8")
        book = open_book.new(folder / "book")
        kept = open_book.add_organ(book, text)
        _, organ = open_book.organ_of(book, None)
        visit = book.open_visit(kept.id, purpose="an hour", minutes=60.0)
        items = [
            PlanItem(n, pipe, 3.0, target_hz(organ, pipe, None), "flatter", 0.6, "")
            for n, pipe in enumerate(PIPES, start=1)
        ]
        source = Looped(minute_of_sound(tuple(item.target_hz for item in items)), MINUTES)
        tasks = tasks_of(organ, items)
        session = TuningSession(Place(book, kept, organ, visit), source, tasks, update_s=UPDATE_S)
        print("minutes   memory MB   lost   updates   processor s")
        begun = time.process_time()
        updates = 0
        for number, block in enumerate(source.blocks(), start=1):
            for shown in session.hear(block):
                updates += 1
                json.dumps(live_message(shown, organ, session.meter))
            if number % (50 * 60 * EVERY) == 0 or number == 50 * 60:
                spent = time.process_time() - begun
                print(
                    f"{number // 3000:7d}{memory_mb():12.1f}{session.meter.lost:7d}"
                    f"{updates:10d}{spent:14.0f}",
                    flush=True,
                )
        recording = session.close()
        assert recording is not None
        path = book.sound_path(recording.id)
        about = soundfile.info(str(path))
        missing = MINUTES * 60 * RATE - about.frames
        print(
            f"kept: {about.frames} samples, {missing} missing, {path.stat().st_size / 1e6:.0f} MB"
        )
        book.close()


if __name__ == "__main__":
    main()
