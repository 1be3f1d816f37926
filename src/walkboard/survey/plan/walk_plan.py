"""The plan of a survey: which stops to draw, and which keys to walk with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from walkboard.organ.model import PipeRef
from walkboard.scales.key_names import Names, name_of, note_of
from walkboard.scales.keys import Key


@dataclass(frozen=True, slots=True)
class Pace:
    """How long keys are held.

    Attributes
    ----------
    hold_s, gap_s : float
        Length of a hold, and of the gap to the next key [s].
    setting_minutes : float
        Time to draw the stops, enter them and start recording [min]; chosen, not measured.
    alone_s : float or None
        Length of a hold when one pipe sounds at a time [s]; None: as long as the others.
    """

    hold_s: float = 4.0
    gap_s: float = 0.3
    setting_minutes: float = 0.3
    alone_s: float | None = None

    def __post_init__(self) -> None:
        if not (self.hold_s > 0.0 and self.gap_s >= 0.0 and self.setting_minutes >= 0.0):
            raise ValueError("the hold must be positive, and no other time negative")
        if self.alone_s is not None and not 0.0 < self.alone_s <= self.hold_s:
            raise ValueError(
                "the hold of one pipe alone must be positive, and no longer than that of several"
            )

    @property
    def key_minutes(self) -> float:
        """Time for one key, with the gap after it [min]."""
        return (self.hold_s + self.gap_s) / 60.0

    @property
    def of_one_pipe(self) -> Pace:
        """The pace of a walk in which one pipe sounds at a time."""
        return self if self.alone_s is None else replace(self, hold_s=self.alone_s)

    def minutes(self, walks: int, holds: int) -> float:
        """Time for this many walks with this many holds in all [min]."""
        return walks * self.setting_minutes + holds * self.key_minutes


@dataclass(frozen=True, slots=True)
class Run:
    """Keys of a walk at even steps.

    Attributes
    ----------
    lowest, highest : Key
    step : int
        Semitones from key to key; 1 if there is only one key.
    """

    lowest: Key
    highest: Key
    step: int = 1

    @property
    def keys(self) -> tuple[Key, ...]:
        """Its keys, upward."""
        return tuple(
            Key(s) for s in range(self.lowest.semitone, self.highest.semitone + 1, self.step)
        )

    def words(self, names: Names = Names.SCIENTIFIC) -> str:
        """``C2–F♯3, only C and F♯``, or with key names from `names`."""
        if self.lowest == self.highest:
            return name_of(self.lowest, names)
        span = f"{name_of(self.lowest, names)}–{name_of(self.highest, names)}"
        return ", ".join(part for part in (span, self._stride(names)) if part)

    def _stride(self, names: Names) -> str:
        """Which keys of the span, as a key holder finds them: by name if the names recur."""
        if self.step == 1:
            return ""
        if self.step < 3 or 12 % self.step:
            return f"every {_ordinal(self.step)} key"
        notes = [note_of(key, names) for key in self.keys[: 12 // self.step]]
        return f"only {' and '.join([', '.join(notes[:-1]), notes[-1]] if notes[1:] else notes)}"


def _ordinal(n: int) -> str:
    ending = {1: "st", 2: "nd", 3: "rd"}.get(n % 10 if n % 100 not in {11, 12, 13} else 0, "th")
    return f"{n}{ending}"


def runs_of(keys: Sequence[Key]) -> tuple[Run, ...]:
    """Keys as runs, from the bottom: neighbours, or three or more at even steps."""
    semitones = sorted({key.semitone for key in keys})
    runs: list[Run] = []
    at = 0
    while at < len(semitones):
        last = at
        step = semitones[at + 1] - semitones[at] if at + 1 < len(semitones) else 1
        while last + 1 < len(semitones) and semitones[last + 1] - semitones[last] == step:
            last += 1
        if step > 1 and last - at < 2:
            last = at
        first, highest = Key(semitones[at]), Key(semitones[last])
        runs.append(Run(first, highest, step if last > at else 1))
        at = last + 1
    return tuple(runs)


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why not everything that sounds can be separated, and over which keys.

    Attributes
    ----------
    why : str
    lowest, highest : Key
    """

    why: str
    lowest: Key
    highest: Key

    def words(self, names: Names = Names.SCIENTIFIC) -> str:
        """``two pipes of one pitch at C2–F♯3``, or with key names from `names`."""
        return f"{self.why} at {Run(self.lowest, self.highest).words(names)}"


@dataclass(frozen=True, slots=True)
class SurveyWalk:
    """One registration, walked over keys of one keyboard.

    Attributes
    ----------
    division : str
        Whose keyboard is played.
    drawn : tuple of str
        Ids of the stops.
    keys : tuple of Key
        Upward.
    reads : tuple of PipeRef
        The wanted pipes that it sounds.
    doubts : tuple of Doubt
        Where a single stop sounds too many pipes to separate.
    alone : bool
        Whether one pipe sounds at a time; its holds may be shorter.
    """

    division: str
    drawn: tuple[str, ...]
    keys: tuple[Key, ...]
    reads: tuple[PipeRef, ...]
    doubts: tuple[Doubt, ...] = ()
    alone: bool = False

    def __post_init__(self) -> None:
        if not self.drawn or not self.keys:
            raise ValueError("a walk needs a stop and a key")

    @property
    def runs(self) -> tuple[Run, ...]:
        """Its keys as runs."""
        return runs_of(self.keys)


@dataclass(frozen=True, slots=True)
class SurveyPlan:
    """The walks of a survey.

    Attributes
    ----------
    organ : str
    pace : Pace
    walks : tuple of SurveyWalk
        In walking order.
    wanted : tuple of PipeRef
        Every pipe that the walks read.
    unheard : tuple of PipeRef
        Requested, but no stop sounds them at the chosen keys.
    left_out : tuple of PipeRef
        Requested, but left out for lack of time.
    every : int
        1, or n if only every n-th key is walked for lack of time.
    bound_minutes : float or None
        Proven: no plan under the same rules takes less; None if there were too many possible
        registrations to prove it.
    by_rank_minutes : float
        Time for the same pipes rank by rank.
    minutes_given : float or None
    """

    organ: str
    pace: Pace
    walks: tuple[SurveyWalk, ...]
    wanted: tuple[PipeRef, ...]
    unheard: tuple[PipeRef, ...]
    left_out: tuple[PipeRef, ...]
    every: int
    bound_minutes: float | None
    by_rank_minutes: float
    minutes_given: float | None = None

    @property
    def holds(self) -> int:
        """Total number of keys held."""
        return sum(len(walk.keys) for walk in self.walks)

    @property
    def minutes(self) -> float:
        """Time for all walks, including drawing stops [min]."""
        return sum(self.minutes_of(walk) for walk in self.walks)

    @property
    def gap(self) -> float | None:
        """Largest possible excess over the least time, as a share of the minutes [-]."""
        if self.bound_minutes is None or not self.walks:
            return None if self.walks else 0.0
        return max(0.0, 1.0 - self.bound_minutes / self.minutes)

    def pace_of(self, walk: SurveyWalk) -> Pace:
        """How long the keys of one of its walks are held."""
        return self.pace.of_one_pipe if walk.alone else self.pace

    def minutes_of(self, walk: SurveyWalk) -> float:
        """Time for one of its walks [min]."""
        return self.pace_of(walk).minutes(1, len(walk.keys))
