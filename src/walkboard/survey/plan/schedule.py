"""When the machine holds each key of a walk, and the Standard MIDI File for it.

Standard MIDI File 1.0 (MIDI Manufacturers Association, RP-001): format 0, one track. A tempo of
0.5 s a quarter note at 500 ticks a quarter makes a tick exactly 1 ms. A key's number is its
semitone: C4 is 60, as in MIDI 1.0 for a keyboard at 8′ pitch.
"""

from __future__ import annotations

import io
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from walkboard.errors import InputError
from walkboard.scales.keys import Key
from walkboard.survey.plan.midi_file import midi_messages
from walkboard.survey.plan.walk_plan import Pace

TICKS_A_QUARTER = 500
TEMPO_US = 500_000  # a quarter note [µs]
TICK_S = TEMPO_US * 1e-6 / TICKS_A_QUARTER
VELOCITY = 64  # MIDI 1.0's value for a keyboard without velocity sensing; also for note off
LEAD_S = 3.0  # of silence before the first key, time to see that the recording runs


@dataclass(frozen=True, slots=True)
class Press:
    """One key held.

    Attributes
    ----------
    key : Key
    down_s, up_s : float
        From the start of the file [s].
    """

    key: Key
    down_s: float
    up_s: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.down_s < self.up_s:
            raise ValueError("a key must go down at 0 s or later, and up after that")


@dataclass(frozen=True, slots=True)
class Schedule:
    """The keys of a walk in order of time; they may overlap."""

    presses: tuple[Press, ...]

    @property
    def seconds(self) -> float:
        """Time until the last key is up [s]."""
        return max((press.up_s for press in self.presses), default=0.0)


def schedule_of(keys: Sequence[Key], pace: Pace, *, lead_s: float = LEAD_S) -> Schedule:
    """The keys one after another at an even pace, to the millisecond.

    Parameters
    ----------
    keys : sequence of Key
        In the order in which they are held.
    pace : Pace
    lead_s : float
        Time before the first key [s].
    """
    presses = []
    for n, key in enumerate(keys):
        down_s = lead_s + n * (pace.hold_s + pace.gap_s)
        presses.append(Press(key, round(down_s, 3), round(down_s + pace.hold_s, 3)))
    return Schedule(tuple(presses))


def midi_of(schedule: Schedule, *, channel: int = 1, name: str = "") -> bytes:
    """The schedule as a Standard MIDI File.

    Parameters
    ----------
    schedule : Schedule
    channel : int
        1 to 16.
    name : str
        The track's name; non-ASCII letters become ``?``.

    Raises
    ------
    InputError
        If there is no such channel.
    """
    import mido  # noqa: PLC0415 - a desk names schedules long before it reads or writes one

    if not 1 <= channel <= 16:
        raise InputError(f"MIDI has no channel {channel}.", fix="Give 1 to 16.")
    events = [(_ticks(p.up_s), 0, p.key.semitone) for p in schedule.presses]
    events += [(_ticks(p.down_s), 1, p.key.semitone) for p in schedule.presses]
    track = mido.MidiTrack()
    if name:
        plain = name.encode("ascii", "replace").decode()
        track.append(mido.MetaMessage("track_name", name=plain, time=0))
    track.append(mido.MetaMessage("set_tempo", tempo=TEMPO_US, time=0))
    at = 0
    for ticks, is_down, note in sorted(events):  # within a tick, up comes before down
        track.append(
            mido.Message(
                "note_on" if is_down else "note_off",
                channel=channel - 1,
                note=note,
                velocity=VELOCITY,
                time=ticks - at,
            )
        )
        at = ticks
    track.append(mido.MetaMessage("end_of_track", time=0))
    written = io.BytesIO()
    mido.MidiFile(type=0, ticks_per_beat=TICKS_A_QUARTER, tracks=[track]).save(file=written)
    return written.getvalue()


def _ticks(seconds: float) -> int:
    return round(seconds / TICK_S)


def schedule_from_midi(data: bytes, *, where: str = "") -> Schedule:
    """The keys of a Standard MIDI File of any tempo, format 0 or 1; all channels together.

    Parameters
    ----------
    data : bytes
    where : str
        The file's name, for errors.

    Raises
    ------
    InputError
        If it is not such a file, or plays no key.
    """
    down: dict[int, list[float]] = defaultdict(list)
    presses = []
    at_s = 0.0
    try:
        messages = midi_messages(data, where=where)
    except InputError as error:
        raise InputError(
            error.what,
            where=where,
            fix="Give the file that 'walkboard survey-plan … --midi' wrote and that was played.",
        ) from error
    for message in messages:
        at_s += message.time
        if message.type not in {"note_on", "note_off"}:
            continue
        if message.type == "note_on" and message.velocity > 0:
            down[message.note].append(at_s)
        elif down[message.note]:
            began_s = down[message.note].pop(0)
            if at_s > began_s:
                presses.append(Press(Key(message.note), began_s, at_s))
    if not presses:
        raise InputError("This file plays no key.", where=where, fix="Give the one that did.")
    return Schedule(tuple(sorted(presses, key=lambda p: (p.down_s, p.key))))
