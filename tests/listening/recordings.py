"""Small recordings with known contents, written by libraries that the program only reads with."""

from __future__ import annotations

import io
import wave
from pathlib import Path

import av
import numpy as np
import soundfile as sf
from numpy.typing import NDArray

RATE_HZ = 48_000
ONSETS_S = (0.5, 1.5, 2.5)
FORMATS = {
    "walk.wav": ("WAV", "PCM_16"),
    "walk24.wav": ("WAV", "PCM_24"),
    "walk32.wav": ("WAV", "PCM_32"),
    "float.wav": ("WAV", "FLOAT"),
    "long.wav": ("RF64", "PCM_24"),
    "walk.flac": ("FLAC", "PCM_24"),
    "walk.ogg": ("OGG", "VORBIS"),
    "walk.opus": ("OGG", "OPUS"),
    "walk.mp3": ("MP3", "MPEG_LAYER_III"),
    "walk.aiff": ("AIFF", "PCM_24"),
}


def bursts(seconds: float = 3.0, rate_hz: int = RATE_HZ, channels: int = 1) -> NDArray[np.float32]:
    """Decaying 1 kHz bursts at `ONSETS_S` over faint noise, shape (frames, channels)."""
    rng = np.random.default_rng(5)
    frames = round(seconds * rate_hz)
    sound = 1e-4 * rng.standard_normal(frames)
    for onset_s in ONSETS_S:
        start = round(onset_s * rate_hz)
        burst = _burst(rate_hz)[: max(frames - start, 0)]
        sound[start : start + len(burst)] += burst
    return np.repeat(sound[:, None], channels, axis=1).astype(np.float32)


def onsets_s(sound: NDArray[np.float32], rate_hz: int) -> list[float]:
    """Where the bursts begin, by the peak of the correlation with the burst."""
    found = []
    for onset_s in ONSETS_S:
        start = round((onset_s - 0.4) * rate_hz)
        stretch = sound[start : start + round(0.8 * rate_hz), 0].astype(np.float64)
        match = np.correlate(stretch, _burst(rate_hz), "valid")
        found.append((start + int(match.argmax())) / rate_hz)
    return found


def _burst(rate_hz: int) -> NDArray[np.float64]:
    time_s = np.arange(round(0.2 * rate_hz)) / rate_hz
    burst: NDArray[np.float64] = 0.4 * np.sin(2 * np.pi * 1000 * time_s) * np.exp(-time_s / 0.05)
    return burst


def written(
    sound: NDArray[np.float32], name: str = "walk.wav", rate_hz: int = RATE_HZ, subtype: str = ""
) -> bytes:
    """A recording in one of `FORMATS`, as bytes."""
    container, usual = FORMATS[name]
    out = io.BytesIO()
    sf.write(out, sound, rate_hz, format=container, subtype=subtype or usual)
    return out.getvalue()


def written_plainly(sound: NDArray[np.float32], rate_hz: int, bytes_a_sample: int) -> bytes:
    """A PCM WAV through the standard library's own `wave`, independent of libsndfile."""
    full = 2 ** (8 * bytes_a_sample - 1)
    codes = np.clip(np.round(sound.astype(np.float64) * full), -full, full - 1).astype("<i8")
    out = io.BytesIO()
    with wave.open(out, "wb") as writer:
        writer.setnchannels(sound.shape[1])
        writer.setsampwidth(bytes_a_sample)
        writer.setframerate(rate_hz)
        packed = codes.reshape(-1, 1).view(np.uint8)[:, :bytes_a_sample]
        writer.writeframes(packed.tobytes())
    return out.getvalue()


def phoned(
    sound: NDArray[np.float32],
    folder: Path,
    *,
    codec: str = "aac",
    container: str = "ipod",
    rate_hz: int = RATE_HZ,
    index_first: bool = False,
) -> bytes:
    """An M4A (or bare AAC: container ``adts``) as a phone writes it, encoded by PyAV."""
    place = folder / "memo.m4a"  # the index is moved within a file, never within a stream
    layout = "mono" if sound.shape[1] == 1 else "stereo"
    options = {"movflags": "+faststart"} if index_first else {}
    with av.open(str(place), "w", format=container, options=options) as writer:
        stream = writer.add_stream(codec, rate=rate_hz, layout=layout)
        assert isinstance(stream, av.AudioStream)
        across = np.ascontiguousarray(sound.T)
        if codec == "aac":
            frame = av.AudioFrame.from_ndarray(across, format="fltp", layout=layout)
        else:
            codes = np.round(across * 32_767).astype(np.int16)
            frame = av.AudioFrame.from_ndarray(codes, format="s16p", layout=layout)
        frame.sample_rate = rate_hz
        frame.pts = 0
        writer.mux(stream.encode(frame))
        writer.mux(stream.encode(None))
    return place.read_bytes()
