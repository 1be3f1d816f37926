"""Takes blocks from a live source as they arrive, so that a busy machine drops readings, not sound.

A separate thread only takes blocks. The consumer gets everything that arrived meanwhile as one
block: the tracker makes one reading of it, the newest, and has caught up.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Iterator

import numpy as np

from walkboard.capture.source import Block, Source
from walkboard.errors import WalkboardError

_LONGEST_S = 1.0  # longest block handed on: the longest wait for a page's request


class GatheredBlocks:
    """The blocks of a source, taken immediately and handed on together.

    Parameters
    ----------
    source : Source

    Attributes
    ----------
    zero_s : float
        Time of the source's 0 by the clock on the wall [s]: the block that waited least tells it.
    """

    def __init__(self, source: Source) -> None:
        self._source = source
        self._waiting: queue.SimpleQueue[Block | WalkboardError | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._take, daemon=True, name="live source")
        self.zero_s = float("inf")

    def __iter__(self) -> Iterator[Block]:
        """Blocks until the source ends; what the source raises is raised here."""
        self._thread.start()
        while True:
            first = self._waiting.get()
            gathered: list[Block] = []
            seconds = 0.0
            following: Block | WalkboardError | None = first
            while isinstance(following, Block):
                if gathered and following.lost:
                    yield _together(gathered)
                    gathered, seconds = [], 0.0
                gathered.append(following)
                seconds += len(following.samples) / self._source.sample_rate
                if seconds >= _LONGEST_S or self._waiting.empty():
                    break
                following = self._waiting.get()
            if gathered:
                yield _together(gathered)
            if isinstance(following, WalkboardError):
                raise following
            if following is None:
                return

    def _take(self) -> None:
        try:
            for block in self._source.blocks():
                end_s = block.start_s + len(block.samples) / self._source.sample_rate
                self.zero_s = min(self.zero_s, time.time() - end_s)
                self._waiting.put(block)
        except WalkboardError as error:
            self._waiting.put(error)
        else:
            self._waiting.put(None)


def _together(blocks: list[Block]) -> Block:
    if len(blocks) == 1:
        return blocks[0]
    samples = np.concatenate([block.samples for block in blocks])
    return Block(samples, blocks[0].start_s, blocks[0].lost)
