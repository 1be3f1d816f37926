"""Speed and memory of decoding: each format, 10 minutes and 2 hours, one channel at 48 kHz.

Seconds are processor time, so that other work on the machine does not count.

Peak memory is that of a fresh process, so it includes Python, numpy and the decoders.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import av
import numpy as np
import soundfile as sf

RATE_HZ = 48_000
_FORMATS = {
    "wav": ("WAV", "PCM_24"),
    "flac": ("FLAC", "PCM_24"),
    "ogg": ("OGG", "VORBIS"),
    "mp3": ("MP3", "MPEG_LAYER_III"),
    "aiff": ("AIFF", "PCM_16"),
    "m4a": ("", ""),
}
_CHILD = """
import sys, time, resource
from walkboard.listening.sound.recording import open_sound
began = time.process_time()
with open(sys.argv[1], "rb") as stream:
    sound = open_sound(stream, sys.argv[1])
    frames = 0
    if sys.argv[2] == "blocks":
        for block in sound.blocks():
            frames += len(block)
    else:
        spans = [(t, t + 5.0) for t in range(0, int(sound.info.seconds), 4)]
        for block in sound.spans(spans):
            frames += len(block)
took = time.process_time() - began
print(sound.info.seconds, took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def _minute(rng: np.random.Generator) -> np.ndarray:
    """A minute of held tones over noise, so that lossless coders have honest work."""
    time_s = np.arange(60 * RATE_HZ) / RATE_HZ
    sound = 1e-3 * rng.standard_normal(len(time_s))
    for partial in range(1, 9):
        sound += 0.1 / partial * np.sin(2 * np.pi * 261.6 * partial * time_s)
    return sound.astype(np.float32)


def _write(path: Path, minutes: int, minute: np.ndarray) -> None:
    container, subtype = _FORMATS[path.suffix[1:]]
    if container:
        with sf.SoundFile(path, "w", RATE_HZ, 1, subtype, format=container) as out:
            for _ in range(minutes):  # by the second: libsndfile's Vorbis coder fails on more
                for start in range(0, len(minute), RATE_HZ):
                    out.write(minute[start : start + RATE_HZ])
        return
    with av.open(str(path), "w", format="ipod") as out:
        stream = out.add_stream("aac", rate=RATE_HZ, layout="mono")
        for number in range(minutes * 60):
            start = number % 60 * RATE_HZ
            frame = av.AudioFrame.from_ndarray(
                minute[None, start : start + RATE_HZ], format="fltp", layout="mono"
            )
            frame.sample_rate = RATE_HZ
            frame.pts = number * RATE_HZ
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))


def main() -> None:
    """Print a row for each format and length."""
    minute = _minute(np.random.default_rng(1))
    print(f"{'format':8}{'minutes':>8}{'way':>8}{'seconds':>9}{'× real time':>13}{'peak MB':>9}")
    for suffix in _FORMATS:
        for minutes in (10, 120):
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / f"walk.{suffix}"
                _write(path, minutes, minute)
                for way in ("blocks", "spans"):
                    done = subprocess.run(
                        [sys.executable, "-c", _CHILD, str(path), way],
                        check=True,
                        capture_output=True,
                        text=True,
                    )
                    long_s, took_s, peak_mb = map(float, done.stdout.split())
                    print(
                        f"{suffix:8}{long_s / 60:8.1f}{way:>8}{took_s:9.2f}"
                        f"{long_s / took_s:13.0f}{peak_mb:9.0f}",
                        flush=True,
                    )


if __name__ == "__main__":
    main()
