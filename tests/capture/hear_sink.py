"""Hears the default microphone through PortAudio and follows one pipe; a program of its own.

PortAudio looks for devices once, when it is loaded, so it must be loaded with the test's own sound
server in the environment. Writes a line for each reading: time, cents or -, lost samples.
Run: python -m tests.capture.hear_sink HZ SECONDS
"""

from __future__ import annotations

import sys

from walkboard.capture.microphone import Microphone, microphones
from walkboard.capture.source import Meter
from walkboard.listening.live.tracker import Expected, Tracker
from walkboard.listening.types import Comb


def main() -> None:
    hz, seconds = float(sys.argv[1]), float(sys.argv[2])
    device = microphones()[0]
    source = Microphone(device.name)
    meter = Meter()
    tracker = Tracker(source.sample_rate, Expected(Comb("", hz)), 0.1)
    for block in source.blocks():
        meter.take(block, source.sample_rate)
        for reading in tracker.take(block.samples, block.start_s):
            cents = "-" if reading.cents is None else f"{reading.cents:.3f}"
            sys.stdout.write(f"{reading.at_s:.2f} {cents} {meter.lost}\n")
            sys.stdout.flush()
        if block.start_s > seconds:
            source.close()
            break


if __name__ == "__main__":
    main()
