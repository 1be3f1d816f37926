"""What the flow at the pipe shows and keeps."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from walkboard.book.folder import LIVE
from walkboard.condition.settling.forecast import Forecast
from walkboard.condition.settling.learned import PastSettling
from walkboard.condition.settling.moves import Advice
from walkboard.listening.live.readings import LiveReading
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key

FOLDER = LIVE


class Step(StrEnum):
    """What the tuner is to do now."""

    HOLD = "hold"  # the key holder is to hold the key
    LISTEN = "listen"  # wait for a steady reading
    MOVE = "move"  # move the pipe as advised
    WAIT = "wait"  # hand off: it settles
    DONE = "done"  # inside tolerance and settled; the next one is up
    END = "end"  # the worklist is through


class Reason(StrEnum):
    """Why nothing is advised of a pipe that sounds."""

    NONE = "none"
    SHADED = "shaded"  # a hand is near its mouth
    COMPANY = "company"  # another pipe sounds too
    TREMULANT = "tremulant"  # the tremulant is on
    UNSTEADY = "unsteady"  # what is heard is not one steady pipe
    GAP = "gap"  # samples are missing in the sound


class Outcome(StrEnum):
    """What became of a pipe."""

    OPEN = "open"
    DONE = "done"
    SKIPPED = "skipped"


@dataclass(frozen=True, slots=True)
class Task:
    """One pipe of the worklist.

    Attributes
    ----------
    pipe : PipeRef
    key : Key
        To hold.
    stop : str
        Id of the stop to draw.
    target_hz : float
        Where to leave it, today.
    why : str
    """

    pipe: PipeRef
    key: Key
    stop: str
    target_hz: float
    why: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """What was read of a pipe before and after; None where it was not.

    Attributes
    ----------
    before, after : LiveReading or None
        `after` is what stood when it was called done; it may still settle by a fraction of a cent.
    settled_cents, settled_sigma_cents : float or None
        Where it will stand at rest.
    handled_s : float or None
        When the hand was last off it, by the source's clock.
    settling : PastSettling or None
        What it showed of its cooling, if it was touched.
    """

    task: Task
    outcome: Outcome
    before: LiveReading | None
    after: LiveReading | None
    settled_cents: float | None
    settled_sigma_cents: float | None
    handled_s: float | None
    settling: PastSettling | None = None


@dataclass(frozen=True, slots=True)
class Shown:
    """One update for the pages.

    Attributes
    ----------
    step : Step
    task : Task or None
        None at the end.
    next_task : Task or None
        So that the key holder sees what comes.
    reading : LiveReading or None
    advice : Advice or None
        Where the pipe is to be moved.
    forecast : Forecast or None
        Where the pipe will settle, once it has been handled.
    words : str
        One line for the tuner.
    done, total : int
    finished : Result or None
        The pipe that has just been called done: give the short sound.
    withdrawn : Result or None
        The pipe that was called done and has moved away since: it is open again.
    reason : Reason
        Why nothing is advised, where something stands in the way.
    """

    step: Step
    task: Task | None
    next_task: Task | None
    reading: LiveReading | None
    advice: Advice | None
    forecast: Forecast | None
    words: str
    done: int
    total: int
    finished: Result | None = None
    withdrawn: Result | None = None
    reason: Reason = Reason.NONE
