"""The sound of one hold, cut from its recording: for playback, and its spectrum."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from walkboard.book.records import KeptRecording
from walkboard.errors import InputError
from walkboard.survey.hear.heard_walk import Hold

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

LONGEST_S = 20.0  # of a hold, from its start; more adds nothing
_MARGIN_S = 0.15  # before and after, so that speech and release are heard
_FADE_S = 0.02
_PEAK = 10.0 ** (-9.0 / 20.0)  # −9 dB of full scale: a soft flute and a reed play alike loud
_MOST_GAIN = 10.0 ** (40.0 / 20.0)  # noise is not raised without end
_FFT_SECONDS = 1.0  # resolution of about 2 Hz with the window's own width


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """Sound of a hold.

    Attributes
    ----------
    samples : ndarray of float32, shape (n,)
        One channel, full scale ±1.
    sample_rate : int
        [Hz]
    """

    samples: NDArray[np.float32]
    sample_rate: int


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """Level against frequency of a hold.

    Attributes
    ----------
    hz, level_db : ndarray, shape (n,)
        Levels against the strongest [dB].
    """

    hz: NDArray[np.floating]
    level_db: NDArray[np.floating]


def hold_of(recording: KeptRecording, number: int) -> Hold:
    """A hold of a recording by its number; InputError if there is none."""
    hold = next((h for h in recording.walk.holds if h.n == number), None)
    if hold is None:
        raise InputError(
            f"The recording has no hold {number}.",
            where=recording.file_name,
            fix="Load the page again.",
        )
    return hold


def cut(book: Book, recording: KeptRecording, hold: Hold) -> Cut:
    """The sound of a hold with a little before and after, as recorded.

    Raises
    ------
    BookError
        When the recording's file is missing.
    SoundError
        When it cannot be decoded.
    """
    from walkboard.listening.sound.recording import open_sound

    start_s = max(0.0, hold.start_s - _MARGIN_S)
    end_s = min(hold.end_s + _MARGIN_S, start_s + LONGEST_S)
    with book.sound_path(recording.id).open("rb") as stream:
        sound = open_sound(stream, recording.file_name)
        samples = next(iter(sound.spans([(start_s, end_s)])))
        return Cut(samples.mean(axis=1), sound.info.sample_rate)


def wav(sound: Cut) -> bytes:
    """The sound as a 16-bit WAV file, faded at its ends and normalised in loudness."""
    import soundfile

    samples = sound.samples.astype(np.float64)
    peak = float(np.max(np.abs(samples), initial=0.0))
    if peak > 0.0:
        samples *= min(_PEAK / peak, _MOST_GAIN)
    fade = min(int(_FADE_S * sound.sample_rate), len(samples) // 2)
    if fade:
        ramp = np.linspace(0.0, 1.0, fade)
        samples[:fade] *= ramp
        samples[-fade:] *= ramp[::-1]
    stream = io.BytesIO()
    soundfile.write(stream, samples, sound.sample_rate, format="WAV", subtype="PCM_16")
    return stream.getvalue()


def spectrum(sound: Cut) -> Spectrum | None:
    """Mean power spectrum of a hold (Welch's method: Hann windows that overlap by half).

    P. Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70–73. None if the sound is shorter than
    one window.
    """
    size = int(_FFT_SECONDS * sound.sample_rate)
    if len(sound.samples) < size:
        return None
    window = np.hanning(size)
    starts = range(0, len(sound.samples) - size + 1, size // 2)
    power = np.mean(
        [np.abs(np.fft.rfft(window * sound.samples[s : s + size])) ** 2 for s in starts], axis=0
    )
    if not power.any():
        return None
    floor = power.max() * 1e-12
    level_db = 10.0 * np.log10(np.maximum(power, floor) / power.max())
    return Spectrum(np.fft.rfftfreq(size, 1.0 / sound.sample_rate), level_db)
