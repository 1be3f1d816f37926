"""Plans a survey: what to draw together and which keys to walk."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping

from walkboard.errors import NotEnoughMinutesError
from walkboard.organ.model import Division, Organ, PipeRef
from walkboard.scales.keys import Key
from walkboard.survey.drawing import cover
from walkboard.survey.registrations import Registration, registrations
from walkboard.survey.telling_apart import CautiousRules, Separability, voices_of
from walkboard.survey.walk_plan import Pace, SurveyPlan, SurveyWalk

KeyChoice = Callable[[Division, Key], bool]
"""Whether a key of a division's keyboard is to be walked."""

SPARSEST = 12  # with fewer minutes than only the C's take, there is no plan


def every_key(division: Division, key: Key) -> bool:  # noqa: ARG001 - a KeyChoice
    """The choice of all keys."""
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
    """The least key-holding time that reads every wanted pipe.

    Parameters
    ----------
    organ : Organ
    choose : KeyChoice
        The keys that may be held; the same of every keyboard's own.
    pipes : iterable of PipeRef, optional
        What is wanted; otherwise every pipe that sounds at the chosen keys.
    pace : Pace, optional
    rules : Separability, optional
        What can be told apart; otherwise `CautiousRules`.
    minutes : float, optional
        That there are [min]. Where all is too much, keys are thinned out evenly: every second,
        third … key of each keyboard from its lowest, the first step that fits; every rank stays.

    Raises
    ------
    UnknownNameError
        When the organ has not one of the pipes.
    NotEnoughMinutesError
        When even every twelfth key takes more than there is.
    """
    pace = pace or Pace()
    rules = rules or CautiousRules()
    asked = None if pipes is None else _checked(organ, pipes)
    whole = _plan(organ, choose, asked=asked, pace=pace, rules=rules, minutes=minutes)
    if minutes is None or whole.minutes <= minutes:
        return whole
    made = whole
    for every in range(2, SPARSEST + 1):
        made = _plan(
            organ,
            _thinned(choose, every),
            asked=asked,
            pace=pace,
            rules=rules,
            minutes=minutes,
        )
        kept = set(made.wanted)
        ranks = {pipe.rank for pipe in whole.wanted}
        if {pipe.rank for pipe in kept} != ranks:
            continue
        if made.minutes <= minutes:
            return SurveyPlan(
                organ=made.organ,
                pace=made.pace,
                walks=made.walks,
                wanted=made.wanted,
                unheard=whole.unheard,
                left_out=tuple(pipe for pipe in whole.wanted if pipe not in kept),
                every=every,
                bound_minutes=made.bound_minutes,
                by_rank_minutes=made.by_rank_minutes,
                minutes_given=minutes,
            )
    raise NotEnoughMinutesError(max(0.0, made.minutes - minutes))


def _thinned(choose: KeyChoice, every: int) -> KeyChoice:
    def chosen(division: Division, key: Key) -> bool:
        return choose(division, key) and (key.semitone - division.lowest.semitone) % every == 0

    return chosen


def _checked(organ: Organ, pipes: Iterable[PipeRef]) -> tuple[PipeRef, ...]:
    asked = tuple(dict.fromkeys(pipes))
    voices_of(organ, asked)  # raises where the organ has not one of them
    return asked


def _plan(
    organ: Organ,
    choose: KeyChoice,
    *,
    asked: tuple[PipeRef, ...] | None,
    pace: Pace,
    rules: Separability,
    minutes: float | None,
) -> SurveyPlan:
    keys = {
        d.id: tuple(k for k in (d.lowest.up(n) for n in range(d.keys)) if choose(d, k))
        for d in organ.divisions
    }
    sounding = {
        pipe for stop in organ.stops for key in keys[stop.division] for pipe in stop.pipes_at(key)
    }
    whole = tuple(organ.pipes()) if asked is None else asked
    wanted = tuple(pipe for pipe in whole if pipe in sounding)
    choices: list[Registration] = []
    complete = True
    for division in organ.divisions:
        stops = [stop.id for stop in organ.stops if _gives(organ, stop.id, division, keys, wanted)]
        possible = registrations(organ, division.id, stops, keys[division.id], rules)
        choices += possible.found
        complete = complete and possible.complete
    found = cover(organ, choices, frozenset(wanted), pace)
    walks = _walks(organ, choices, found.held, frozenset(wanted), rules)
    by_stops = {pipe for stop in organ.stops for key in _compass(organ, stop.division)
                for pipe in stop.pipes_at(key)}  # fmt: skip
    return SurveyPlan(
        organ=organ.name,
        pace=pace,
        walks=walks,
        wanted=wanted,
        unheard=tuple(p for p in whole if p not in sounding and (asked or p not in by_stops)),
        left_out=(),
        every=1,
        bound_minutes=found.bound_minutes if complete else None,
        by_rank_minutes=pace.minutes(len({pipe.rank for pipe in wanted}), len(wanted)),
        minutes_given=minutes,
    )


def _compass(organ: Organ, division: str) -> list[Key]:
    own = organ.division(division)
    return [own.lowest.up(n) for n in range(own.keys)]


def _gives(
    organ: Organ,
    stop: str,
    division: Division,
    keys: dict[str, tuple[Key, ...]],
    wanted: tuple[PipeRef, ...],
) -> bool:
    """Whether a stop of this division sounds a wanted pipe."""
    if organ.stop(stop).division != division.id:
        return False
    ranks = {pipe.rank for pipe in wanted}
    if not any(plays.rank in ranks for plays in organ.stop(stop).plays):
        return False
    sought = set(wanted)
    return any(p in sought for key in keys[division.id] for p in organ.stop(stop).pipes_at(key))


def _walks(
    organ: Organ,
    choices: list[Registration],
    held: Mapping[int, tuple[Key, ...]],
    wanted: frozenset[PipeRef],
    rules: Separability,
) -> tuple[SurveyWalk, ...]:
    """The walks, keyboard by keyboard, the longest first; each pipe is read where first it sounds.

    A stop that gives nothing new in a whole walk is not drawn: what is silent hides nothing.
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
            SurveyWalk(choice.division, drawn, keys, reads, _doubts(organ, drawn, keys, rules))
        )
    return tuple(walks)


def _needed(
    organ: Organ, stops: tuple[str, ...], keys: tuple[Key, ...], new: set[PipeRef]
) -> tuple[str, ...]:
    """Without the stops whose pipes are all read otherwise."""
    drawn = list(stops)
    for stop in reversed(stops):
        rest = [other for other in drawn if other != stop]
        if new <= {pipe for key in keys for pipe in organ.sounding(rest, key)}:
            drawn = rest
    return tuple(drawn)


def _doubts(
    organ: Organ, drawn: tuple[str, ...], keys: tuple[Key, ...], rules: Separability
) -> tuple[str, ...]:
    where: dict[str, list[Key]] = defaultdict(list)
    for key in keys:
        why = rules.why_not(voices_of(organ, organ.sounding(drawn, key)))
        if why is not None:
            where[why].append(key)
    return tuple(f"{why} at {span[0]}–{span[-1]}" if len(span) > 1 else f"{why} at {span[0]}"
                 for why, span in where.items())  # fmt: skip
