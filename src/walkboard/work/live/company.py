"""What else sounds, in this organ's terms: which stop may have been left drawn."""

from __future__ import annotations

from dataclasses import dataclass, field

from walkboard.listening.live.readings import LiveFlag, LiveReading
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_between
from walkboard.work.live.values import Task

_NEAR_CENTS = 60.0  # a stop this near a multiple of the pipe's pitch may be what sounds
_MOST_NAMED = 2
# A key that keeps sounding whatever is held (chosen): looks at it alone, how long beside the pipe,
# and the longest pause in that [s].
_LOOKS_ALONE, _LASTS_S, _GOES_ON_S = 4, 3.0, 1.0
_INTERVALS = {1: "at the same pitch", 2: "an octave up", 3: "a twelfth up", 4: "two octaves up"}


@dataclass(slots=True)
class SoundsOn:
    """Which key of the rank sounds whatever is held: heard alone, then beside the pipe.

    Attributes
    ----------
    label : str or None
        Label of that key's comb; None if there is no such key.
    """

    label: str | None = None
    _alone: dict[str, int] = field(default_factory=dict)
    _beside_s: dict[str, tuple[float, float]] = field(default_factory=dict)

    def see(self, reading: LiveReading) -> None:
        """Take in what a reading shows of other keys."""
        heard = reading.heard
        if heard is None or not heard.isdigit():
            return
        if LiveFlag.OTHER_KEY in reading.flags:
            self._alone[heard] = self._alone.get(heard, 0) + 1
        if LiveFlag.NEIGHBOUR not in reading.flags:
            return
        first_s, last_s = self._beside_s.get(heard, (reading.at_s, reading.at_s))
        if reading.at_s - last_s > _GOES_ON_S:
            first_s = reading.at_s
        self._beside_s[heard] = first_s, reading.at_s
        lasts = (
            reading.at_s - first_s > _LASTS_S
        )  # longer than the room rings after a key is released
        if lasts and self._alone.get(heard, 0) >= _LOOKS_ALONE:
            self.label = heard


def company_words(
    organ: Organ, task: Task, reading: LiveReading, sounds_on: str | None = None
) -> str:
    """One line about what sounds besides the current pipe.

    Parameters
    ----------
    organ : Organ
    task : Task
        The current pipe.
    reading : LiveReading
        With `LiveFlag.NEIGHBOUR`.
    sounds_on : str or None
        Label from `SoundsOn`: a key that sounds whatever is held.

    Returns
    -------
    str
        For example ``Octave 4 is drawn too``, ``F♯3 sounds too``, ``F♯3 sounds all the time …`` or
        ``another pipe sounds an octave up: Octave 4 or Flute 4?``
    """
    if reading.heard is not None and reading.heard.isdigit():
        heard = organ.rank(task.pipe.rank).key_of(int(reading.heard))
        if reading.heard == sounds_on:
            return f"{heard.name} sounds all the time, though its key is up: stop the cipher first"
        return f"{heard.name} sounds too"
    company = reading.company
    if LiveFlag.HIDDEN not in reading.flags and (company is None or company.multiple is None):
        return "another pipe sounds too"
    multiple = 1 if company is None or company.multiple is None else company.multiple
    names = _stops_at(organ, task, multiple)
    if len(names) == 1:
        return f"{names[0]} is drawn too"
    where = _INTERVALS.get(multiple, "above it")
    if not names or len(names) > _MOST_NAMED:
        return f"another pipe sounds {where}: is a second stop drawn?"
    return f"another pipe sounds {where}: {' or '.join(names)}?"


def _stops_at(organ: Organ, task: Task, multiple: int) -> list[str]:
    """Stops of the division that sound this multiple of the pipe's pitch at its key."""
    own = organ.stop(task.stop) if any(s.id == task.stop for s in organ.stops) else None
    names = []
    for stop in organ.stops:
        if own is None or stop.division != own.division or stop.id == own.id:
            continue
        for plays in stop.plays:
            number = plays.first_pipe + task.key.semitone - plays.from_key.semitone
            if not plays.from_key <= task.key <= plays.to_key:
                continue
            hz = target_hz(organ, PipeRef(plays.rank, number), None)
            if abs(cents_between(multiple * task.target_hz, hz)) < _NEAR_CENTS:
                names.append(stop.name)
                break
    return names
