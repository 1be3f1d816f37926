"""A complete tuning: every pipe, in the usual order, over one or more days.

First the reference rank: its bearings octave by ear or by meter, then out from it in octaves. Then
rank by rank from the reference, chest by chest; each celeste after its partner; mixtures row by row
with their other rows silenced; reeds last, on the day whose air is nearest the event's. A day ends
between two ranks if it can, and begins by checking the reference rank again, because the organ has
settled overnight. Common practice, no source; so are the minutes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from walkboard.condition.kinds import Role, role_of
from walkboard.errors import InputError
from walkboard.organ.celestes import partner_of
from walkboard.organ.model import Organ, PipeRef, Rank
from walkboard.organ.targets import target_hz
from walkboard.planning.minutes import RANK_MINUTES, pipe_minutes
from walkboard.planning.route.order import BEARINGS_KEYS, reference_rank
from walkboard.planning.route.ways import Ways


class Stage(StrEnum):
    """What a step of a complete tuning is."""

    CHECK = "check"
    BEARINGS = "bearings"
    OCTAVES = "octaves"
    RANK = "rank"
    CELESTE = "celeste"
    MIXTURE = "mixture"
    REED = "reed"


@dataclass(frozen=True, slots=True)
class Limits:
    """Constants of a complete tuning.

    Attributes
    ----------
    bearings_factor : float
        A pipe of the bearings takes this many times the usual minutes.
    each_factor : float
        In a whole rank many pipes only need a listen: share of the usual minutes each.
    check_minutes : float
        Minutes to check the reference rank at the start of a day.
    worth_beginning : float
        A rank is started at the end of a day only if at least this much of it fits.
    shortest_day_minutes, longest_day_minutes : float
    """

    bearings_factor: float = 3.0  # chosen
    each_factor: float = 0.6  # chosen
    check_minutes: float = 10.0  # chosen
    worth_beginning: float = 0.5  # chosen
    shortest_day_minutes: float = 60.0  # chosen: less is no day's work
    longest_day_minutes: float = 960.0  # as the longest visit


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class CompleteStep:
    """A run of one rank's pipes that is tuned in one go.

    Attributes
    ----------
    day : int
        From 1.
    stage : Stage
    rank : str
        Id of the rank.
    first, last : int
        Numbers of its pipes; both 0 for a check.
    against : str
        Id of the rank it is tuned to; empty for the bearings.
    silence : tuple of str
        Ids of the ranks that sound on the same stops and must be silenced.
    walk_minutes, minutes : float
        Walking and opening panels; and the work, including setting the stop.
    """

    day: int
    stage: Stage
    rank: str
    first: int
    last: int
    against: str
    silence: tuple[str, ...]
    walk_minutes: float
    minutes: float


@dataclass(frozen=True, slots=True)
class CompleteTuning:
    """A complete tuning.

    Attributes
    ----------
    steps : tuple of CompleteStep
        In order.
    day_minutes : float
        Length of each day.
    notes : tuple of str
        What was left out, and why.
    """

    steps: tuple[CompleteStep, ...]
    day_minutes: float
    notes: tuple[str, ...]

    @property
    def days(self) -> int:
        """Number of days."""
        return max((step.day for step in self.steps), default=0)

    @property
    def minutes(self) -> float:
        """Total time [min]."""
        return sum(step.walk_minutes + step.minutes for step in self.steps)

    def minutes_of(self, day: int) -> float:
        """Time of one day [min]."""
        return sum(s.walk_minutes + s.minutes for s in self.steps if s.day == day)


def complete_tuning(organ: Organ, day_minutes: float) -> CompleteTuning:
    """Every pipe of an organ in the usual order, split into days.

    Parameters
    ----------
    organ : Organ
    day_minutes : float
        Minutes for tuning in each day [min].

    Raises
    ------
    InputError
        If a day is too short or too long, or the organ has no rank to start with.
    """
    if not LIMITS.shortest_day_minutes <= day_minutes <= LIMITS.longest_day_minutes:
        raise InputError(
            f"A day of tuning cannot last {day_minutes:g} minutes.",
            fix=f"Give {LIMITS.shortest_day_minutes:g} to {LIMITS.longest_day_minutes:g}.",
        )
    reference = reference_rank(organ)
    if reference is None or reference.historic:
        raise InputError(
            "There is no open 4′ or 8′ rank to set the bearings on.",
            fix="Describe the rank that the organ is tuned from, as an open 4′ or 8′.",
        )
    left_out = tuple(
        f"{rank.name} ({rank.id}) is historic: leave it to the organ's adviser."
        for rank in organ.ranks
        if rank.historic
    )
    return CompleteTuning(
        tuple(_Days(organ, reference, day_minutes).split(_runs(organ, reference))),
        day_minutes,
        left_out,
    )


@dataclass(frozen=True, slots=True)
class _Run:
    stage: Stage
    rank: Rank
    first: int
    last: int
    against: str
    silence: tuple[str, ...] = ()


def _runs(organ: Organ, reference: Rank) -> Iterator[_Run]:
    """What is tuned, in order, before it is split into days."""
    low = max(1, BEARINGS_KEYS[0] - reference.from_key.semitone + 1)
    high = min(reference.pipes, BEARINGS_KEYS[1] - reference.from_key.semitone)
    yield _Run(Stage.BEARINGS, reference, low, high, "")
    if high < reference.pipes:
        yield _Run(Stage.OCTAVES, reference, high + 1, reference.pipes, reference.id)
    if low > 1:
        yield _Run(Stage.OCTAVES, reference, 1, low - 1, reference.id)
    rest = [r for r in _by_place(organ, reference) if r.id != reference.id and not r.historic]
    stage = {Role.CELESTE: Stage.CELESTE, Role.MIXTURE: Stage.MIXTURE, Role.REED: Stage.REED}
    for rank in rest:
        role = role_of(organ, rank)
        partner = partner_of(organ, rank) if role is Role.CELESTE else None
        silence = _rows_beside(organ, rank) if role is Role.MIXTURE else ()
        yield _Run(
            stage.get(role, Stage.RANK),
            rank,
            1,
            rank.pipes,
            reference.id if partner is None else partner.id,
            silence,
        )


def _by_place(organ: Organ, reference: Rank) -> list[Rank]:
    """Ranks in order: the reference's chest first, mixtures after flues, reeds last."""
    chests = [chest.id for chest in organ.chests]
    divisions = [division.id for division in organ.divisions]
    turn = {Role.UNISON: 0, Role.MUTATION: 1, Role.CELESTE: 2, Role.MIXTURE: 3, Role.REED: 4}

    def key(rank: Rank) -> tuple[object, ...]:
        role = role_of(organ, rank)
        multiple = rank.multiples[0][1]
        return (
            role is Role.REED,
            rank.division != reference.division,
            divisions.index(rank.division),
            role is Role.MIXTURE,
            rank.chest != reference.chest,
            chests.index(rank.chest) if rank.chest in chests else len(chests),
            turn[role],
            multiple < 1,
            multiple,
        )

    return sorted(organ.ranks, key=key)


def _rows_beside(organ: Organ, rank: Rank) -> tuple[str, ...]:
    """The other ranks that every stop with this rank sounds too."""
    found: dict[str, None] = {}
    for stop in organ.stops:
        own = dict.fromkeys(plays.rank for plays in stop.plays)
        if rank.id in own:
            found.update({r: None for r in own if r != rank.id})
    return tuple(found)


class _Days:
    """Splits runs into days, counting walks and panels."""

    def __init__(self, organ: Organ, reference: Rank, day_minutes: float) -> None:
        self._organ, self._reference, self._day_minutes = organ, reference, day_minutes
        self._ways = Ways(organ)
        self._panels = {chest.id: chest.minutes for chest in organ.chests}
        self._day, self._used = 1, 0.0
        self._at: str | None = None
        self._open: set[str] = set()

    def split(self, runs: Iterator[_Run]) -> Iterator[CompleteStep]:
        for run in runs:
            yield from self._placed(run)

    def _placed(self, run: _Run) -> Iterator[CompleteStep]:
        each = self._pipe_minutes(run)
        first = run.first
        while first <= run.last:
            reach = self._reach(run.rank)
            left = self._day_minutes - self._used - reach - RANK_MINUTES
            rest = each[first - run.first :]
            fits = _how_many(rest, left)
            whole = sum(rest) <= left
            enough = sum(rest[:fits]) >= LIMITS.worth_beginning * sum(rest)
            fresh = self._used <= LIMITS.check_minutes + reach
            if (not whole and not (enough or fresh)) or fits == 0:
                yield self._next_day()
                continue
            step = CompleteStep(
                self._day,
                run.stage,
                run.rank.id,
                first,
                first + fits - 1,
                run.against,
                run.silence,
                reach,
                round(RANK_MINUTES + sum(rest[:fits]), 2),
            )
            self._arrive(run.rank.chest)
            self._used += step.walk_minutes + step.minutes
            first += fits
            yield step

    def _next_day(self) -> CompleteStep:
        self._day += 1
        self._used, self._at, self._open = 0.0, None, set()
        reference = self._reference
        reach = self._reach(reference)
        self._arrive(reference.chest)
        self._used = reach + LIMITS.check_minutes
        return CompleteStep(
            self._day, Stage.CHECK, reference.id, 0, 0, "", (), reach, LIMITS.check_minutes
        )

    def _reach(self, rank: Rank) -> float:
        walk = 0.0 if self._at == rank.chest else self._ways.minutes(self._at, rank.chest)
        panels = 0.0 if rank.chest in self._open else self._panels.get(rank.chest, 0.0)
        return walk + panels

    def _arrive(self, chest: str) -> None:
        self._at = chest
        self._open.add(chest)

    def _pipe_minutes(self, run: _Run) -> list[float]:
        rank, role = run.rank, role_of(self._organ, run.rank)
        factor = LIMITS.bearings_factor if run.stage is Stage.BEARINGS else LIMITS.each_factor
        minutes = []
        for number in range(run.first, run.last + 1):
            hz = target_hz(self._organ, PipeRef(rank.id, number), None)
            minutes.append(factor * pipe_minutes(rank, number, role, hz))
        return minutes


def _how_many(minutes: Sequence[float], left: float) -> int:
    """How many of the first pipes fit."""
    count, used = 0, 0.0
    for each in minutes:
        used += each
        if used > left + 1e-9:
            break
        count += 1
    return count


def complete_to_json(tuning: CompleteTuning) -> dict[str, Any]:
    """A complete tuning as plain values for JSON, format 1."""
    return {
        "format": 1,
        "day_minutes": tuning.day_minutes,
        "days": tuning.days,
        "minutes": tuning.minutes,
        "steps": [
            {
                "day": step.day,
                "stage": step.stage.value,
                "rank": step.rank,
                "first": step.first,
                "last": step.last,
                "against": step.against,
                "silence": list(step.silence),
                "walk_minutes": step.walk_minutes,
                "minutes": step.minutes,
            }
            for step in tuning.steps
        ],
        "notes": list(tuning.notes),
    }
