"""The walks of the invented hall: which ranks are walked, how, and with what slips."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from walkboard.demo.hall import HallState
from walkboard.demo.synthesiser import (
    Ambience,
    Faults,
    KeyHolder,
    Microphone,
    RenderedWalk,
    Room,
    WalkTruth,
    render_walk,
)
from walkboard.demo.write_files import write
from walkboard.organ.model import Organ, PipeRef
from walkboard.scales.keys import Key

HALL = Room(t60_s=2.4, bass_ratio=1.2, treble_ratio=0.4)
RECORDER = Microphone(noise_db=-88.0, channels=2, low_cut_hz=12.0)
PHONE = Microphone(noise_db=-78.0, channels=1, low_cut_hz=60.0)
HOLDER = KeyHolder(hold_s=3.0, gap_s=0.25)
NO_FAULTS = Faults()
QUIET = Ambience()
TALKING = Ambience(talk_db=-38.0, thump_db=-40.0)


@dataclass(frozen=True, slots=True)
class WalkPlan:
    """One walk to be recorded.

    Attributes
    ----------
    file : str
        Name of the recording; its extension sets the format.
    drawn : tuple of str
        The stops drawn.
    division : str
        The keyboard played.
    keys : tuple of Key
        In the order asked for.
    pipes : tuple of tuple of PipeRef
        Pipes sounded by each key.
    faults, holder, room, ambience, microphone : see the synthesiser
    sample_rate : int
        [Hz].
    """

    file: str
    drawn: tuple[str, ...]
    division: str
    keys: tuple[Key, ...]
    pipes: tuple[tuple[PipeRef, ...], ...]
    faults: Faults = NO_FAULTS
    holder: KeyHolder = HOLDER
    room: Room = HALL
    ambience: Ambience = QUIET
    microphone: Microphone = RECORDER
    sample_rate: int = 48_000


@dataclass(frozen=True, eq=False)
class RecordedWalk:
    """A walk in a file: its plan, the file, and the truth."""

    plan: WalkPlan
    path: Path
    truth: WalkTruth


def walks(organ: Organ) -> tuple[WalkPlan, ...]:
    """The hall's recordings: ten ranks of four divisions.

    A stopped rank, a chimney rank, two reeds, two mutations, a 16′; among them one of each slip and
    fault. Two come from a phone, one of them as AAC.

    Raises
    ------
    UnknownNameError
        If the organ is not the hall and lacks these stops.
    """

    def at(*names: str) -> tuple[Key, ...]:
        return tuple(Key.parse(name) for name in names)

    return (
        plan_walk(organ, "great-principal8.flac", ["great.principal8"]),
        plan_walk(organ, "great-octave4.flac", ["great.octave4"], Faults(wrong_corrected=at("D4"))),
        plan_walk(
            organ,
            "great-bourdon8.flac",
            ["great.bourdon8"],
            Faults(dead=at("F#3")),
            ambience=TALKING,
        ),
        plan_walk(organ, "great-twelfth.wav", ["great.twelfth"], Faults(repeated=at("G3"))),
        plan_walk(organ, "great-trumpet8.flac", ["great.trumpet8"], Faults(long=at("A3"))),
        plan_walk(
            organ,
            "swell-gamba8.flac",
            ["swell.gamba8"],
            Faults(off_speech=((Key.parse("D#3"), 2),)),
        ),
        plan_walk(
            organ,
            "swell-principal4.m4a",
            ["swell.principal4"],
            Faults(wrong=at("B3")),
            microphone=PHONE,
            sample_rate=44_100,
        ),
        plan_walk(
            organ,
            "swell-oboe8.ogg",
            ["swell.oboe8"],
            Faults(out_of_order=at("E4")),
            microphone=PHONE,
            sample_rate=44_100,
        ),
        plan_walk(organ, "positive-nazard.flac", ["positive.nazard"], ambience=TALKING),
        plan_walk(
            organ,
            "pedal-open16.flac",
            ["pedal.open16"],
            holder=KeyHolder(hold_s=4.5, gap_s=0.4),
        ),
    )


def plan_walk(
    organ: Organ,
    file: str,
    drawn: Iterable[str],
    faults: Faults = NO_FAULTS,
    *,
    holder: KeyHolder = HOLDER,
    ambience: Ambience = QUIET,
    microphone: Microphone = RECORDER,
    sample_rate: int = 48_000,
) -> WalkPlan:
    """Plan of a walk of some stops, upward over every key with a pipe.

    Raises
    ------
    UnknownNameError
        If the organ has no such stops.
    """
    stops = tuple(drawn)
    keys = organ.keys_of(stops)
    return WalkPlan(
        file,
        stops,
        organ.stop(stops[0]).division,
        keys,
        tuple(organ.sounding(stops, key) for key in keys),
        faults,
        holder=holder,
        ambience=ambience,
        microphone=microphone,
        sample_rate=sample_rate,
    )


def render(plan: WalkPlan, state: HallState, rng: np.random.Generator) -> RenderedWalk:
    """Render a walk of the hall in its true state."""
    voices = {
        key: tuple(state.voice(pipe) for pipe in pipes)
        for key, pipes in zip(plan.keys, plan.pipes, strict=True)
    }
    return render_walk(
        plan.keys,
        voices,
        plan.room,
        rng,
        holder=plan.holder,
        faults=plan.faults,
        ambience=plan.ambience,
        microphone=plan.microphone,
        sample_rate=plan.sample_rate,
    )


def record(plan: WalkPlan, state: HallState, seed: int, folder: Path) -> RecordedWalk:
    """Render a walk into a file in a folder; can run in a process pool.

    Parameters
    ----------
    plan : WalkPlan
    state : HallState
    seed : int
        Seed of this walk.
    folder : Path
        Must exist.
    """
    rendered = render(plan, state, np.random.default_rng(seed))
    path = folder / plan.file
    write(rendered, path)
    return RecordedWalk(plan, path, rendered.truth)
