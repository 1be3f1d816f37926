"""Plans a survey: what to draw together and which keys to walk."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from walkboard.errors import NotEnoughMinutesError
from walkboard.organ.model import Division, Organ, PipeRef
from walkboard.scales.keys import Key
from walkboard.survey.plan.cover import cover, least_minutes
from walkboard.survey.plan.registrations import Registration, registrations
from walkboard.survey.plan.rules import CautiousRules, Separability, voices_of
from walkboard.survey.plan.walk_plan import Doubt, Pace, SurveyPlan, SurveyWalk

KeyChoice = Callable[[Division, Key], bool]
"""Whether to walk a key of a division's keyboard."""

SPARSEST = 12  # keeps only the C's; with fewer minutes there is no plan


def every_key(division: Division, key: Key) -> bool:  # noqa: ARG001 - a KeyChoice
    """Chooses all keys."""
    return True


def plan_survey(
    organ: Organ,
    *,
    choose: KeyChoice = every_key,
    pipes: Iterable[PipeRef] | None = None,
    pace: Pace | None = None,
    rules: Separability | None = None,
    minutes: float | None = None,
) -> SurveyPlan:
    """Plan walks that read every wanted pipe in the least key-holding time.

    Parameters
    ----------
    organ : Organ
    choose : KeyChoice
        Which keys may be held, on every keyboard.
    pipes : iterable of PipeRef, optional
        The wanted pipes; by default every pipe that sounds at the chosen keys.
    pace : Pace, optional
    rules : Separability, optional
        What can be separated; by default `CautiousRules`.
    minutes : float, optional
        Minutes available [min]. If they are too few for every key, keys are thinned out evenly:
        every second, third … key of each keyboard from its lowest, the first step that fits; every
        rank is kept.

    Raises
    ------
    UnknownNameError
        If the organ lacks one of the pipes.
    NotEnoughMinutesError
        If even every twelfth key takes more time than there is.
    """
    task = _Task(
        organ,
        None if pipes is None else _checked(organ, pipes),
        pace or Pace(),
        rules or CautiousRules(),
        minutes,
    )
    whole = task.plan(choose)
    if minutes is None or whole.minutes <= minutes:
        return whole
    ranks = {pipe.rank for pipe in whole.wanted}
    least = whole.minutes
    for every in range(2, SPARSEST + 1):
        thinned = _thinned(choose, every)
        possible = task.possible(thinned)
        if {pipe.rank for pipe in possible.wanted} != ranks:
            continue
        least = possible.least_minutes(task.pace)
        if least > minutes:  # no point in looking for the best
            continue
        made = task.plan(thinned)
        least = made.minutes
        if made.minutes <= minutes:
            kept = set(made.wanted)
            left_out = tuple(pipe for pipe in whole.wanted if pipe not in kept)
            return replace(made, unheard=whole.unheard, left_out=left_out, every=every)
    raise NotEnoughMinutesError(least - minutes)


def _thinned(choose: KeyChoice, every: int) -> KeyChoice:
    def chosen(division: Division, key: Key) -> bool:
        return choose(division, key) and (key.semitone - division.lowest.semitone) % every == 0

    return chosen


def _checked(organ: Organ, pipes: Iterable[PipeRef]) -> tuple[PipeRef, ...]:
    asked = tuple(dict.fromkeys(pipes))
    voices_of(organ, asked)  # raises if the organ lacks one of them
    return asked


@dataclass(frozen=True)
class _Possible:
    """What can be drawn, and which pipes are wanted."""

    organ: Organ
    wanted: tuple[PipeRef, ...]
    unheard: tuple[PipeRef, ...]
    choices: tuple[Registration, ...]
    complete: bool

    def least_minutes(self, pace: Pace) -> float:
        return least_minutes(self.organ, self.choices, frozenset(self.wanted), pace)


@dataclass(frozen=True)
class _Task:
    """The input of a survey's plan, except the choice of keys."""

    organ: Organ
    asked: tuple[PipeRef, ...] | None
    pace: Pace
    rules: Separability
    minutes: float | None

    def possible(self, choose: KeyChoice) -> _Possible:
        organ = self.organ
        keys = {d.id: [k for k in _compass(d) if choose(d, k)] for d in organ.divisions}
        sounding = _sounding(organ, keys)
        whole = tuple(organ.pipes()) if self.asked is None else self.asked
        wanted = tuple(pipe for pipe in whole if pipe in sounding)
        # A pipe whose key was not chosen is not missing unless it was asked for by name.
        at_all = sounding if self.asked else _sounding(
            organ, {d.id: _compass(d) for d in organ.divisions}
        )  # fmt: skip
        choices: list[Registration] = []
        complete = True
        for division in organ.divisions:
            stops = _giving(organ, division, keys[division.id], frozenset(wanted))
            found = registrations(organ, division.id, stops, keys[division.id], self.rules)
            choices += found.found
            if self.pace.of_one_pipe != self.pace:
                choices += found.alone
            complete = complete and found.complete
        unheard = tuple(pipe for pipe in whole if pipe not in at_all)
        return _Possible(organ, wanted, unheard, tuple(choices), complete)

    def plan(self, choose: KeyChoice) -> SurveyPlan:
        organ, pace = self.organ, self.pace
        possible = self.possible(choose)
        wanted = frozenset(possible.wanted)
        found = cover(organ, possible.choices, wanted, pace)
        return SurveyPlan(
            organ=organ.name,
            pace=pace,
            walks=_walks(organ, possible.choices, found.held, wanted, self.rules),
            wanted=possible.wanted,
            unheard=possible.unheard,
            left_out=(),
            every=1,
            bound_minutes=found.bound_minutes if possible.complete else None,
            by_rank_minutes=pace.of_one_pipe.minutes(
                len({pipe.rank for pipe in wanted}), len(wanted)
            ),
            minutes_given=self.minutes,
        )


def _compass(division: Division) -> list[Key]:
    return list(division.all_keys)


def _sounding(organ: Organ, keys: Mapping[str, Sequence[Key]]) -> set[PipeRef]:
    """Every pipe that some stop sounds at these keys of the keyboards."""
    return {p for stop in organ.stops for key in keys[stop.division] for p in stop.pipes_at(key)}


def _giving(
    organ: Organ, division: Division, keys: Sequence[Key], wanted: frozenset[PipeRef]
) -> list[str]:
    """The stops of a division that sound a wanted pipe at these keys."""
    return [
        stop.id
        for stop in organ.stops
        if stop.division == division.id
        and any(pipe in wanted for key in keys for pipe in stop.pipes_at(key))
    ]


def _walks(
    organ: Organ,
    choices: Sequence[Registration],
    held: Mapping[int, tuple[Key, ...]],
    wanted: frozenset[PipeRef],
    rules: Separability,
) -> tuple[SurveyWalk, ...]:
    """The walks, keyboard by keyboard, longest first; each pipe is read where it sounds first.

    A stop that adds nothing new in a whole walk is not drawn: a silent stop hides nothing.
    """
    order = {division.id: n for n, division in enumerate(organ.divisions)}
    seen: set[PipeRef] = set()
    walks = []
    for number in sorted(held, key=lambda n: (order[choices[n].division], -len(held[n]), n)):
        choice, keys = choices[number], held[number]
        new = {p for key in keys for p in organ.sounding(choice.stops, key)} & wanted - seen
        drawn = _needed(organ, choice.stops, keys, new)
        reads = tuple(sorted(new))
        seen |= new
        walks.append(
            SurveyWalk(
                choice.division,
                drawn,
                keys,
                reads,
                _doubts(organ, drawn, keys, rules),
                alone=all(len(organ.sounding(drawn, key)) == 1 for key in keys),
            )
        )
    return tuple(walks)


def _needed(
    organ: Organ, stops: tuple[str, ...], keys: tuple[Key, ...], new: set[PipeRef]
) -> tuple[str, ...]:
    """Drop the stops whose pipes are all read elsewhere."""
    drawn = list(stops)
    for stop in reversed(stops):
        rest = [other for other in drawn if other != stop]
        if new <= {pipe for key in keys for pipe in organ.sounding(rest, key)}:
            drawn = rest
    return tuple(drawn)


def _doubts(
    organ: Organ, drawn: tuple[str, ...], keys: tuple[Key, ...], rules: Separability
) -> tuple[Doubt, ...]:
    where: dict[str, list[Key]] = defaultdict(list)
    for key in keys:
        why = rules.why_not(voices_of(organ, organ.sounding(drawn, key)))
        if why is not None:
            where[why].append(key)
    return tuple(Doubt(why, span[0], span[-1]) for why, span in where.items())
