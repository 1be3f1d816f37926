"""Blocks of a live source on a busy machine: none is lost, and no queue builds up."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import numpy as np
import pytest

from walkboard.capture.playing import NoWait, PlayedSound
from walkboard.capture.source import Block
from walkboard.desk.live.block_queue import GatheredBlocks
from walkboard.desk.live.browser_source import HandedSound
from walkboard.errors import InputError

RATE = 48_000


def test_what_came_while_it_was_busy_is_handed_on_together_and_whole() -> None:
    sound = np.arange(RATE, dtype=np.float32) / RATE
    gathered = []
    for block in GatheredBlocks(PlayedSound(sound, RATE, NoWait())):
        gathered.append(block)
        time.sleep(0.05)  # the source, which waits for nothing, is through by then
    assert len(gathered) < 25  # of 50 blocks
    np.testing.assert_array_equal(np.concatenate([b.samples[:, 0] for b in gathered]), sound)
    starts = np.cumsum([0, *(len(b.samples) for b in gathered)])[:-1] / RATE
    np.testing.assert_allclose([b.start_s for b in gathered], starts)


class _Broken:
    name, sample_rate, channels = "broken", RATE, 1

    def blocks(self) -> Iterator[Block]:
        yield Block(np.zeros((10, 1), np.float32), 0.0)
        yield Block(np.zeros((10, 1), np.float32), 1.0, RATE - 10)
        raise InputError("It is gone.")

    def close(self) -> None:
        """Nothing to close."""


def test_what_was_lost_is_not_glued_over_and_trouble_comes_through() -> None:
    blocks = iter(GatheredBlocks(_Broken()))
    assert [next(blocks).lost, next(blocks).lost] == [0, RATE - 10]
    with pytest.raises(InputError, match="is gone"):
        next(blocks)


def test_a_browser_hands_over_its_samples_and_gaps_are_counted() -> None:
    source = HandedSound(RATE, "browser")
    block = np.arange(4, dtype="<f4")
    source.put(0, block.tobytes())
    source.put(0, block.tobytes())  # sent again after a doubtful answer
    source.put(10, block.tobytes())
    threading.Timer(0.3, source.close).start()
    got = list(source.blocks())
    assert [(b.start_s * RATE, len(b.samples), b.lost) for b in got] == [
        (0, 4, 0),
        (pytest.approx(10), 4, 6),
    ]
    with pytest.raises(InputError, match="no sound"):
        source.put(14, b"abc")
    with pytest.raises(InputError, match="does not run at 7"):
        HandedSound(7, "browser")
