"""Writes a rendered walk as a file, as recorders and phones do."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from walkboard.demo.synthesiser import RenderedWalk
from walkboard.errors import InputError

AAC_BIT_RATE = 128_000  # as phones set it, or near
ENDINGS = (".flac", ".wav", ".ogg", ".mp3", ".m4a")


def write(rendered: RenderedWalk, path: Path) -> None:
    """Write a walk in the format of the extension: FLAC and WAV with 16 bits, OGG, MP3, M4A (AAC).

    Samples beyond full scale are clipped, as 16 bits require.

    Raises
    ------
    InputError
        If the ending is not one of these.
    """
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise InputError(
            f"A recording is not written as {ending or 'a file without ending'}.",
            where=str(path),
            fix=f"Use {', '.join(ENDINGS)}.",
        )
    samples = np.clip(rendered.samples, -1.0, 1.0 - 2.0**-15)
    if ending == ".m4a":
        _write_aac(samples, rendered.sample_rate, path)
        return
    import soundfile

    subtype = "PCM_16" if ending in {".flac", ".wav"} else None
    with soundfile.SoundFile(
        path, "w", rendered.sample_rate, rendered.samples.shape[1], subtype=subtype
    ) as file:
        # in pieces: the OGG encoder overruns its stack on minutes of sound at once
        for start in range(0, samples.shape[0], 1 << 16):
            file.write(samples[start : start + (1 << 16)])


def _write_aac(samples: NDArray[np.float32], sample_rate: int, path: Path) -> None:
    import av

    layout = "mono" if samples.shape[1] == 1 else "stereo"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=sample_rate)
        stream.layout = layout
        stream.bit_rate = AAC_BIT_RATE
        for start in range(0, samples.shape[0], 1024):
            piece = np.ascontiguousarray(samples[start : start + 1024].T)
            frame = av.AudioFrame.from_ndarray(piece, format="fltp", layout=layout)
            frame.sample_rate = sample_rate
            frame.pts = start
            frame.time_base = Fraction(1, sample_rate)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
