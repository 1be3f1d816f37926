"""The log of a live session, written line by line beside its recording; survives a kill."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from walkboard.book.records import KeptSettling
from walkboard.condition.settling.learned import PastSettling
from walkboard.errors import InputError
from walkboard.listening.live.readings import LiveReading
from walkboard.listening.readings import Measured
from walkboard.listening.types import SoundInfo
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import cents_off
from walkboard.quantities import ratio_of_cents
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.work.live.values import Result

_STRICT = ConfigDict(frozen=True, extra="forbid")


class Heard(BaseModel):
    """A reading of one pipe: pitch, uncertainty, level and window."""

    model_config = _STRICT
    hz: float
    sigma_cents: float
    level_db: float
    start_s: float
    end_s: float


class Settled(BaseModel):
    """How a pipe was heard settling."""

    model_config = _STRICT
    log_tau: float
    log_tau_sigma: float
    offset_cents: float
    offset_sigma_cents: float


class Line(BaseModel):
    """One pipe called done; or, with `undone`, reopened."""

    model_config = _STRICT
    pipe: str
    stop: str
    before: Heard | None = None
    after: Heard | None = None
    undone: bool = False
    settling: Settled | None = None


class Head(BaseModel):
    """The first line; `stop` is the one that sounds the first pipe."""

    model_config = _STRICT
    visit_id: int
    recorded_at: datetime
    air_celsius: float | None
    stop: str = ""


class SessionLog:
    """The log of a session.

    Parameters
    ----------
    path : Path
    head : Head
    """

    def __init__(self, path: Path, head: Head) -> None:
        self.path = path
        self.head = head
        self.lines: list[Line] = []
        self._write(head)

    def add(self, line: Line) -> None:
        """Add a line and flush it to disk."""
        self.lines.append(line)
        self._write(line)

    def _write(self, line: BaseModel) -> None:
        with self.path.open("a", encoding="utf-8") as stream:
            stream.write(line.model_dump_json() + "\n")
            stream.flush()
            os.fsync(stream.fileno())


def read_log(path: Path) -> tuple[Head, tuple[Line, ...]]:
    """The log of a killed session; an incomplete last line is dropped.

    Raises
    ------
    InputError
        If it is not such a log.
    """
    try:
        first, *rest = path.read_text(encoding="utf-8").splitlines()
        head = Head.model_validate_json(first)
    except (OSError, ValueError) as error:
        raise InputError("This is not a log of a live session.", where=str(path)) from error
    lines = []
    for text in rest:
        try:
            lines.append(Line.model_validate_json(text))
        except ValidationError:
            break
    return head, tuple(lines)


def line_of(result: Result) -> Line:
    """The line for a pipe called done; `after` is where it settles."""
    after = None
    if result.after is not None and result.settled_cents is not None:
        after = _heard(
            result.after,
            result.task.target_hz * ratio_of_cents(result.settled_cents),
            result.settled_sigma_cents,
        )
    before = None
    if result.before is not None and result.handled_s is not None:
        before = _heard(result.before, result.before.hz, result.before.sigma_cents)
    pipe, stop = str(result.task.pipe), result.task.stop
    return Line(
        pipe=pipe, stop=stop, before=before, after=after, settling=_settled(result.settling)
    )


def _settled(past: PastSettling | None) -> Settled | None:
    if past is None or past.offset_cents is None or past.offset_sigma_cents is None:
        return None
    return Settled(
        log_tau=past.log_tau,
        log_tau_sigma=past.log_tau_sigma,
        offset_cents=past.offset_cents,
        offset_sigma_cents=past.offset_sigma_cents,
    )


def _heard(reading: LiveReading, hz: float | None, sigma_cents: float | None) -> Heard | None:
    if hz is None or sigma_cents is None:
        return None
    return Heard(
        hz=hz,
        sigma_cents=sigma_cents,
        level_db=reading.level_db,
        start_s=max(0.0, reading.at_s - reading.window_s),
        end_s=reading.at_s,
    )


def walk_of_lines(
    organ: Organ, head: Head, lines: Sequence[Line], file: str, sound: SoundInfo
) -> HeardWalk:
    """A session as a walk that the book can store: a hold for each pipe done, where it settles.

    The pitch before is in the log and in the tick's note; as a reading it would count as the pipe's
    pitch after tuning. A session in which nothing was done has no holds.
    """
    current = _current(lines)
    heard = sorted(
        ((line.after, line) for line in current.values() if line.after is not None),
        key=lambda pair: pair[0].start_s,
    )
    holds = []
    for n, (part, line) in enumerate(heard, start=1):
        pipe = PipeRef.parse(line.pipe)
        rank = organ.rank(pipe.rank)
        key = rank.key_of(pipe.number)
        reading = Measured(
            pipe=pipe,
            hz=part.hz,
            sigma_cents=part.sigma_cents,
            cents=cents_off(part.hz, organ, pipe, head.air_celsius),
            level_db=part.level_db,
            start_s=part.start_s,
            end_s=part.end_s,
        )
        number = organ.division(rank.division).key_number(key)
        holds.append(Hold(n, key, number, part.start_s, part.end_s, (reading,)))
    drawn = tuple(dict.fromkeys(line.stop for line in current.values()))
    if not drawn and head.stop:
        drawn = (head.stop,)
    return HeardWalk(file, sound, organ.name, drawn, head.air_celsius, tuple(holds), ())


def settlings_of_lines(organ: Organ, head: Head, lines: Sequence[Line]) -> tuple[KeptSettling, ...]:
    """How a session's finished pipes were heard settling, for the book."""
    found = []
    for line in _current(lines).values():
        if line.settling is None or line.after is None:
            continue
        pipe = PipeRef.parse(line.pipe)
        found.append(
            KeptSettling(
                visit_id=head.visit_id,
                pipe=pipe,
                tuned_by=organ.rank(pipe.rank).tuned_by_of(pipe.number).value,
                log_tau=line.settling.log_tau,
                log_tau_sigma=line.settling.log_tau_sigma,
                offset_cents=line.settling.offset_cents,
                offset_sigma_cents=line.settling.offset_sigma_cents,
                heard_at=head.recorded_at + timedelta(seconds=line.after.end_s),
            )
        )
    return tuple(found)


def _current(lines: Sequence[Line]) -> dict[str, Line]:
    """The last line of each pipe that was not reopened."""
    current: dict[str, Line] = {}
    for line in lines:
        current.pop(line.pipe, None)
        if not line.undone:
            current[line.pipe] = line
    return current
