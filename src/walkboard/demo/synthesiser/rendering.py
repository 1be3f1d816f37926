"""Renders a walk as a recording, together with its truth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from walkboard.demo.synthesiser import ambience as sounds
from walkboard.demo.synthesiser.ambience import Ambience
from walkboard.demo.synthesiser.key_holder import Faults, KeyHolder, Press, Slip, hold_keys
from walkboard.demo.synthesiser.room import Room, impulse_response, in_room
from walkboard.demo.synthesiser.tone import render_tone
from walkboard.demo.synthesiser.truth import HoldTruth, PipeTruth, RenderedWalk, WalkTruth
from walkboard.demo.synthesiser.voices import PipeVoice, VoiceKind
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Microphone:
    """The microphone and what follows it.

    Attributes
    ----------
    gain_db : float
        Applied to the whole sound [dB].
    noise_db : float or None
        Level of its own noise; a full-scale sine is 0 dB; None for none.
    clips : bool
        Whether samples beyond full scale are clipped; otherwise kept, as in a float file.
    low_cut_hz : float
        Corner of a first-order high-pass, as in a phone [Hz]; 0 for none.
    channels : int
    balance_db : float
        Level of the last channel relative to the first [dB]; others in between.
    """

    gain_db: float = 0.0
    noise_db: float | None = -84.0
    clips: bool = True
    low_cut_hz: float = 0.0
    channels: int = 1
    balance_db: float = 0.0

    def __post_init__(self) -> None:
        if self.channels < 1 or self.low_cut_hz < 0.0:
            raise ValueError("a microphone has a channel or more and no negative corner")


USUAL_HOLDER = KeyHolder()
NO_FAULTS = Faults()
USUAL_AMBIENCE = Ambience()
USUAL_MICROPHONE = Microphone()


def render_walk(
    keys: Sequence[Key],
    voices: Mapping[Key, tuple[PipeVoice, ...]],
    room: Room,
    rng: np.random.Generator,
    *,
    holder: KeyHolder = USUAL_HOLDER,
    faults: Faults = NO_FAULTS,
    ambience: Ambience = USUAL_AMBIENCE,
    microphone: Microphone = USUAL_MICROPHONE,
    sample_rate: int = 48_000,
) -> RenderedWalk:
    """Render a walk of a registration.

    Parameters
    ----------
    keys : sequence of Key
        In the order to be held.
    voices : mapping of Key to tuple of PipeVoice
        The pipes that each key sounds.
    room : Room
    rng : numpy Generator
        Source of all randomness in the recording.
    holder, faults, ambience, microphone : see their classes
    sample_rate : int
        [Hz].
    """
    presses = hold_keys(keys, holder, faults, rng)
    tail_s = 0.5 + 0.6 * room.t60_s
    n = round((presses[-1].up_s + tail_s) * sample_rate) if presses else sample_rate
    dry = np.zeros(n + sample_rate, dtype=np.float32)  # room for the last release
    overtones = dict(faults.off_speech)
    holds = []
    for press in presses:
        first, last = round(press.down_s * sample_rate), round(press.up_s * sample_rate)
        pipes = []
        for voice in voices.get(press.key, ()):
            if press.key in faults.dead:
                voice = replace(voice, speaks=0)  # noqa: PLW2901 - the same pipe with its fault
            elif press.key in overtones:
                voice = replace(voice, speaks=overtones[press.key])  # noqa: PLW2901
            track = None
            if voice.speaks:
                tone = render_tone(voice, first, last - first, sample_rate, rng)
                stop = min(first + tone.samples.size, dry.size)
                dry[first:stop] += tone.samples[: stop - first]
                track = tone.track
            level_db = voice.level_db + microphone.gain_db
            pipes.append(PipeTruth(voice.pipe, voice.hz, voice.speaks, level_db, track))
        if ambience.thump_db is not None:
            knock = sounds.thump(ambience.thump_db, sample_rate, rng)
            dry[first : first + knock.size] += knock
        start_s, end_s = first / sample_rate, last / sample_rate
        slips = (*press.slips, *_slips_of(pipes))
        holds.append(HoldTruth(press.key, press.wanted, start_s, end_s, tuple(pipes), slips))
    if ambience.talk_db is not None:
        _add_talk(dry, presses, ambience.talk_db, sample_rate, rng)
    samples = _recorded(
        dry,
        n,
        room=room,
        ambience=ambience,
        microphone=microphone,
        sample_rate=sample_rate,
        rng=rng,
    )
    truth = WalkTruth(n / sample_rate, sample_rate, tuple(holds), tuple(keys))
    return RenderedWalk(samples, truth)


def render_rank_walk(  # noqa: PLR0917 - a study names what it varies in one line
    kind: VoiceKind,
    keys: Sequence[Key],
    a4_hz: float,
    detunings_cents: Sequence[float] | NDArray[np.float64],
    room: Room,
    faults: Faults,
    rng: np.random.Generator,
    *,
    multiple: float = 1.0,
    rank: str = "study.rank",
    level_db: float = -23.0,
    level_spread_db: float = 1.5,
    wander_cents: float = 0.1,
    holder: KeyHolder = USUAL_HOLDER,
    ambience: Ambience = USUAL_AMBIENCE,
    microphone: Microphone = USUAL_MICROPHONE,
    sample_rate: int = 48_000,
) -> RenderedWalk:
    """Render a walk of one rank in equal temperament, for studies that need no organ description.

    Parameters
    ----------
    kind : VoiceKind
    keys : sequence of Key
        In the order asked for; the pipe of a key has the number of its place here.
    a4_hz : float
        Pitch of the 8′ rank at A4 [Hz].
    detunings_cents : sequence of float
        Each key's deviation from equal temperament [cents]; as many as keys.
    room, faults, rng
    multiple : float
        Multiple of the 8′ pitch: 0.25 is 32′, 1 is 8′, 8 is 1′.
    rank : str
        Id of the rank in the truth.
    level_db, level_spread_db : float
        Mean level of the pipes and its spread [dB].
    wander_cents : float
        Slow movement of each pipe, root mean square [cents].
    holder, ambience, microphone, sample_rate : see `render_walk`
    """
    voices = {}
    for i, (key, cents) in enumerate(zip(keys, detunings_cents, strict=True)):
        hz = a4_hz * multiple * 2.0 ** ((key.semitone - 69) / 12.0 + cents / 1200.0)
        voice = PipeVoice(
            PipeRef(rank, i + 1),
            kind,
            hz,
            level_db=level_db + level_spread_db * float(rng.standard_normal()),
            wander_cents=wander_cents,
            seed=int(rng.integers(2**31)),
        )
        voices[key] = (voice,)
    return render_walk(
        keys,
        voices,
        room,
        rng,
        holder=holder,
        faults=faults,
        ambience=ambience,
        microphone=microphone,
        sample_rate=sample_rate,
    )


def _slips_of(pipes: Sequence[PipeTruth]) -> tuple[Slip, ...]:
    """Faults of the pipes themselves."""
    dead = (Slip.DEAD,) if any(p.speaks == 0 for p in pipes) else ()
    off = (Slip.OFF_SPEECH,) if any(p.speaks > 1 for p in pipes) else ()
    return (*dead, *off)


def _add_talk(
    dry: Samples,
    presses: Sequence[Press],
    level_db: float,
    sample_rate: int,
    rng: np.random.Generator,
) -> None:
    """Talk wherever there is time for it between two keys."""
    ends = [0.0, *(p.up_s for p in presses)]
    starts = [*(p.down_s for p in presses), dry.size / sample_rate]
    for end_s, start_s in zip(ends, starts, strict=True):
        free_s = start_s - end_s
        if free_s < 0.8:
            continue
        voice = sounds.talk(level_db, min(free_s - 0.3, 6.0), sample_rate, rng)
        first = round((end_s + 0.2) * sample_rate)
        stop = min(first + voice.size, dry.size)
        dry[first:stop] += voice[: stop - first]


def _recorded(
    dry: Samples,
    n: int,
    *,
    room: Room,
    ambience: Ambience,
    microphone: Microphone,
    sample_rate: int,
    rng: np.random.Generator,
) -> Samples:
    """The dry sound in the room, with what else there is, through the microphone."""
    response = impulse_response(room, sample_rate, microphone.channels, rng)
    if microphone.low_cut_hz > 0.0:
        response = _low_cut(response, microphone.low_cut_hz, sample_rate)
    samples = in_room(dry, response)[:n]
    if ambience.hum_db is not None:
        blower = sounds.hum(ambience.hum_db, ambience.mains_hz, n, sample_rate, rng)
        samples += blower[:, None]
    for channel in range(microphone.channels):
        if ambience.wind_db is not None:
            samples[:, channel] += sounds.wind(ambience.wind_db, n, sample_rate, rng)
    gain_db = microphone.gain_db + np.linspace(0.0, microphone.balance_db, microphone.channels)
    samples *= (10.0 ** (gain_db / 20.0)).astype(np.float32)
    if microphone.noise_db is not None:
        size = np.float32(10.0 ** (microphone.noise_db / 20.0) / np.sqrt(2.0))
        samples += size * rng.standard_normal(samples.shape, dtype=np.float32)
    if microphone.clips:
        np.clip(samples, -1.0, 1.0, out=samples)
    return samples


def _low_cut(response: Samples, corner_hz: float, sample_rate: int) -> Samples:
    """An impulse response through a first-order high-pass, with a second more for it to ring."""
    n = response.shape[0] + sample_rate
    frequency_hz = np.fft.rfftfreq(n, 1.0 / sample_rate)
    gain = 1j * frequency_hz / (corner_hz + 1j * frequency_hz)
    cut = np.fft.irfft(np.fft.rfft(response, n, axis=0) * gain[:, None], n, axis=0)
    return cut.astype(np.float32)
