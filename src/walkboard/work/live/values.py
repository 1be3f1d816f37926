"""What the flow at the pipe shows and keeps."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from walkboard.book.files.folder import LIVE
from walkboard.condition.settling.forecast import Forecast
from walkboard.condition.settling.learned import PastSettling
from walkboard.condition.settling.moves import Advice
from walkboard.listening.live.readings import LiveReading
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key

FOLDER = LIVE


class Step(StrEnum):
    """What the tuner should do now."""

    HOLD = "hold"  # the key holder must hold the key
    LISTEN = "listen"  # wait for a steady reading
    MOVE = "move"  # move the pipe as advised
    WAIT = "wait"  # hand off: it settles
    DONE = "done"  # within tolerance and settled; the next one is up
    END = "end"  # the worklist is finished


class Reason(StrEnum):
    """Why there is no advice for a sounding pipe."""

    NONE = "none"
    SHADED = "shaded"  # a hand is near its mouth
    COMPANY = "company"  # another pipe sounds too
    TREMULANT = "tremulant"  # the tremulant is on
    UNSTEADY = "unsteady"  # the sound is not one steady pipe
    GAP = "gap"  # samples are missing in the sound


class Outcome(StrEnum):
    """The outcome of a pipe."""

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
        The key to hold.
    stop : str
        Id of the stop to draw.
    target_hz : float
        Its target today.
    why : str
    """

    pipe: PipeRef
    key: Key
    stop: str
    target_hz: float
    why: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """A pipe's readings before and after; None if not read.

    Attributes
    ----------
    before, after : LiveReading or None
        `after` is the reading when it was called done; it may still settle by a fraction of a cent.
    settled_cents, settled_sigma_cents : float or None
        Where it will be at rest.
    handled_s : float or None
        When the hand last left it, by the source's clock.
    settling : PastSettling or None
        How it cooled, if it was touched.
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
        Shown to the key holder in advance.
    reading : LiveReading or None
    advice : Advice or None
        Where to move the pipe.
    forecast : Forecast or None
        Where the pipe will settle, once it has been handled.
    words : str
        One line for the tuner.
    done, total : int
    finished : Result or None
        The pipe that has just been called done: play the short sound.
    withdrawn : Result or None
        The pipe that was called done and has since moved away: it is open again.
    reason : Reason
        Why there is no advice, if something prevents it.
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
