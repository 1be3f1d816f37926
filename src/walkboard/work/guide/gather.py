"""From the recordings of one visit to the stops of the guide: clips, pitches and figures."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from walkboard.book.records import KeptOrgan, KeptRecording, KeptVisit
from walkboard.errors import InputError
from walkboard.listening.readings import Measured
from walkboard.organ.model import Organ, PipeRef, Stop
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio, ratio_of_cents
from walkboard.survey.hear.heard_walk import Hold
from walkboard.work.guide.clips import RATE_HZ, Clip, make_clip
from walkboard.work.guide.figures import KeySound, StopFigures, compared, every_third, key_sound

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

_FIGURE_KEYS = range(48, 85)  # C3 to C6, where every manual stop sounds. Chosen.
_STEADY_S = (0.8, 1.4)  # part compared, from a hold's start. Chosen.
READINGS_ONLY = {".json"}  # a walk stored without its sound


@dataclass(frozen=True, eq=False)
class PlayedKey:
    """One key of a stop that has its own clip."""

    key: int
    hz: float
    clip: Clip


@dataclass(frozen=True, eq=False)
class GuideStop:
    """A stop in the guide.

    Attributes
    ----------
    stop : Stop
    division : str
    hz : mapping of MIDI key to Hz
        Pitch of every key of its compass, measured or interpolated between measured keys.
    clips : tuple of PlayedKey
        Upward; empty if the stop was not recorded alone.
    figures : StopFigures or None
    """

    stop: Stop
    division: str
    hz: dict[int, float]
    clips: tuple[PlayedKey, ...] = ()
    figures: StopFigures | None = None


@dataclass(frozen=True, eq=False)
class Session:
    """Everything that the guide shows of one visit."""

    stops: tuple[GuideStop, ...]
    air_celsius: float


@dataclass
class _Heard:
    clips: list[PlayedKey] = field(default_factory=list)
    sounds: dict[int, KeySound] = field(default_factory=dict)


def gather(
    book: Book,
    organ: Organ,
    visit: KeptVisit,
    *,
    with_sound: bool = True,
    without: frozenset[str] = frozenset(),
    progress: Callable[[float, float], None] = lambda _done, _all: None,
) -> Session:
    """The stops of an organ as they sounded at one visit.

    Parameters
    ----------
    book : Book
    organ : Organ
    visit : KeptVisit
    with_sound : bool
        Whether to cut clips at all.
    without : frozenset of str
        Ids of stops whose clips are left out.
    progress : callable
        Called with the stops done and the total.

    Raises
    ------
    InputError
        If no stop was recorded alone at this visit.
    """
    walks = alone(book, visit)
    if not walks:
        raise InputError(
            f"No stop was recorded alone at visit {visit.id}, so there is nothing to play.",
            fix="Walk each stop on its own once, or name another visit with --visit.",
        )
    stops = []
    heard: dict[str, _Heard] = {}
    pitches = {stop.id: key_pitches(organ, stop, walks.get(stop.id)) for stop in organ.stops}
    for number, (stop_id, recording) in enumerate(walks.items()):
        progress(number, len(walks))
        cut = with_sound and stop_id not in without
        heard[stop_id] = _listen(book, recording, pitches[stop_id], with_clips=cut)
    figures = compared({stop: found.sounds for stop, found in heard.items()})
    for stop in organ.stops:
        found = heard.get(stop.id, _Heard())
        stops.append(
            GuideStop(
                stop=stop,
                division=organ.division(stop.division).name,
                hz=pitches[stop.id],
                clips=tuple(found.clips),
                figures=figures.get(stop.id),
            )
        )
    progress(len(walks), len(walks))
    airs = [w.walk.air_celsius for w in walks.values() if w.walk.air_celsius is not None]
    return Session(tuple(stops), float(np.median(airs)) if airs else organ.pitch.at_celsius)


def visit_to_show(book: Book, kept: KeptOrgan, number: int | None) -> KeptVisit:
    """A visit by its number, or the last one at which a stop was recorded alone.

    Raises
    ------
    BookError
        If there is no such visit.
    """
    from walkboard.work.open_book import visit_of

    if number is None:
        for visit in reversed(book.visits(kept.id)):
            if alone(book, visit):
                return visit
    return visit_of(book, kept, number)


def alone(book: Book, visit: KeptVisit) -> dict[str, KeptRecording]:
    """The recording of each stop walked on its own; of several, the one with the most keys."""
    found: dict[str, KeptRecording] = {}
    for recording in book.recordings(visit.id):
        if len(recording.walk.drawn) != 1 or Path(recording.file_name).suffix in READINGS_ONLY:
            continue
        stop = recording.walk.drawn[0]
        if stop not in found or len(_good(recording)) > len(_good(found[stop])):
            found[stop] = recording
    return found


def _good(recording: KeptRecording) -> dict[int, tuple[Hold, Measured[PipeRef]]]:
    """The longest named hold of each key with a trustworthy reading."""
    found: dict[int, tuple[Hold, Measured[PipeRef]]] = {}
    for hold in recording.walk.holds:
        if hold.key is None or hold.flags:
            continue
        read = [r for r in hold.readings if isinstance(r, Measured) and not r.flags]
        if not read:
            continue
        key = hold.key.semitone
        if key not in found or _length_s(hold) > _length_s(found[key][0]):
            found[key] = hold, min(read, key=lambda r: r.hz)
    return found


def _length_s(hold: Hold) -> float:
    return hold.end_s - hold.start_s


def _listen(
    book: Book, recording: KeptRecording, pitches: dict[int, float], *, with_clips: bool
) -> _Heard:
    good = {key: held for key, held in _good(recording).items() if key in pitches}
    kept = set(every_third(list(good))) if with_clips else set()
    figure_keys = {k for k in every_third(list(_FIGURE_KEYS)) if k in good}
    wanted = sorted(kept | figure_keys, key=lambda k: good[k][0].start_s)
    found = _Heard()
    spans = [(good[k][0].start_s, good[k][0].end_s) for k in wanted]
    for key, samples in zip(wanted, sounds(book, recording, spans), strict=True):
        hz = pitches[key]
        if key in kept:
            clip = make_clip(samples, hz)
            if clip is not None:
                found.clips.append(PlayedKey(key, hz, clip))
        start, end = (round(s * RATE_HZ) for s in _STEADY_S)
        if key in figure_keys and len(samples) >= end:
            sound = key_sound(samples[start:end], hz)
            if sound is not None:
                found.sounds[key] = sound
    found.clips.sort(key=lambda played: played.key)
    return found


def sounds(
    book: Book, recording: KeptRecording, spans: list[tuple[float, float]]
) -> Iterator[NDArray[np.float64]]:
    """Spans of a recording, one channel at `RATE_HZ`.

    Raises
    ------
    BookError
        If the file is missing.
    SoundError
        If it cannot be decoded.
    """
    import soxr

    from walkboard.listening.sound.recording import open_sound

    with book.sound_path(recording.id).open("rb") as stream:
        sound = open_sound(stream, recording.file_name)
        rate = sound.info.sample_rate
        for samples in sound.spans(spans):
            mono = samples.mean(axis=1).astype(np.float64)
            yield mono if rate == RATE_HZ else soxr.resample(mono, rate, RATE_HZ, quality="VHQ")


def key_pitches(organ: Organ, stop: Stop, recording: KeptRecording | None) -> dict[int, float]:
    """The pitch of every key of a stop, measured or interpolated between measured keys [Hz].

    For a key that sounds several pipes, the lowest one's pitch.
    """
    air = None if recording is None else recording.walk.air_celsius
    targets = {}
    for key in organ.keys_of((stop.id,)):
        pipes = organ.sounding((stop.id,), key)
        targets[key.semitone] = min(target_hz(organ, pipe, air) for pipe in pipes)
    good = {} if recording is None else _good(recording)
    off = {
        key: cents_of_ratio(reading.hz / target_hz(organ, reading.pipe, air))
        for key, (_, reading) in good.items()
        if key in targets
    }
    known = sorted(off)
    if not known:
        return targets
    between = np.interp(sorted(targets), known, [off[key] for key in known])
    return {
        key: hz * ratio_of_cents(float(cents))
        for (key, hz), cents in zip(sorted(targets.items()), between, strict=True)
    }
