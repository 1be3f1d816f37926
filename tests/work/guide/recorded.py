"""A book of the invented chapel: three stops recorded alone, sums of partials of known pitch."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from tests.survey.organs import SMALL
from walkboard.book.opening import create_book
from walkboard.book.records import Conditions
from walkboard.listening.readings import Measured
from walkboard.listening.types import SoundInfo
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.work.open_book import now

AIR_CELSIUS = 18.0
RATE = 48_000
HOLD_S, GAP_S = 1.9, 0.1
KEYS = range(13, 26)  # pipe numbers: an octave
# Level of the first partial, and how partials fall off [dB per octave].
STOPS = {
    "great.principal8": (-24.0, -9.0),
    "great.octave4": (-30.0, -9.0),
    "great.trumpet8": (-18.0, -3.0),
}


def offset_cents(rank: str, number: int) -> float:
    """A pipe's deviation: fixed, and different from pipe to pipe."""
    return float(6.0 * np.sin(1.7 * number + len(rank)))


def sounding_hz(organ: Organ, rank: str, number: int) -> float:
    pipe = PipeRef(rank, number)
    return target_hz(organ, pipe, AIR_CELSIUS) * ratio_of_cents(offset_cents(rank, number))


def tone(hz: float, seconds: float, level_db: float, slope_db: float) -> NDArray[np.float64]:
    time = np.arange(round(seconds * RATE)) / RATE
    sound = np.zeros_like(time)
    for n in itertools.takewhile(lambda n: n * hz < 9_000.0, range(1, 17)):
        amplitude = 10.0 ** ((level_db + slope_db * np.log2(n)) / 20.0)
        sound += amplitude * np.sin(2.0 * np.pi * n * hz * time + 0.7 * n * n)
    return sound


def record_walk(organ: Organ, rank: str, path: Path, keys: range = KEYS) -> HeardWalk:
    level_db, slope_db = STOPS[rank]
    parts, holds, now_s = [], [], 0.0
    for n, number in enumerate(keys, start=1):
        hz = sounding_hz(organ, rank, number)
        sound = tone(hz, HOLD_S, level_db, slope_db)
        ramp = np.minimum(1.0, np.arange(len(sound)) / (0.03 * RATE))
        parts += [sound * ramp * ramp[::-1], np.zeros(round(GAP_S * RATE))]
        reading = Measured(
            pipe=PipeRef(rank, number),
            hz=hz,
            sigma_cents=0.02,
            cents=offset_cents(rank, number),
            level_db=level_db,
            start_s=now_s,
            end_s=now_s + 2.0,
        )
        key = organ.rank(rank).key_of(number)
        holds.append(Hold(n, key, number, now_s, now_s + HOLD_S, (reading,)))
        now_s += HOLD_S + GAP_S
    soundfile.write(path, np.concatenate(parts), RATE, subtype="PCM_24")
    return HeardWalk(
        file=path.name,
        sound=SoundInfo(now_s, RATE, 1, "WAV, 24 bit"),
        organ=organ.name,
        drawn=(rank,),
        air_celsius=AIR_CELSIUS,
        holds=tuple(holds),
        silent_keys=(),
    )


def recorded_book(folder: Path) -> None:
    organ = read_organ(SMALL)
    with create_book(folder, clock=now) as book:
        kept = book.add_organ(organ.name, SMALL)
        visit = book.open_visit(kept.id, "", conditions=Conditions({"great": AIR_CELSIUS}))
        for rank in STOPS:
            source = folder / f"{rank}.wav"
            walk = record_walk(organ, rank, source)
            book.keep_recording(visit.id, source, walk, program_version="0")
            source.unlink()
