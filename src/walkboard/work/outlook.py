"""Looking ahead from a book: drift over its visits, what to listen to, readiness for events."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from walkboard.book.records import KeptEvent, KeptOrgan, KeptVisit, TickState
from walkboard.condition.drift.filter import OrganDrift
from walkboard.condition.drift.fit import AS_USUAL, Learned
from walkboard.condition.drift.forecast import Forecast, at_visit, follow, forecast
from walkboard.condition.drift.history import PastVisit, figures
from walkboard.condition.gather import pipe_cents_of
from walkboard.condition.state import PipeCents
from walkboard.errors import InputError
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.organ.years import compared_with_today
from walkboard.planning.listen.foreseen import foreseen, weights_of
from walkboard.planning.listen.keys import ListeningChoice, choose_listening, offers_of
from walkboard.planning.listen.quick_look import keys_to_begin_with, quick_look
from walkboard.planning.listen.readiness import Occasion, Readiness, readiness_of
from walkboard.planning.request import PlanRequest
from walkboard.planning.what_if import prepare
from walkboard.quantities import cents_of_ratio
from walkboard.survey.plan.make_survey import plan_survey
from walkboard.survey.plan.walk_plan import SurveyWalk
from walkboard.work.learned_drift import learned_of
from walkboard.work.pipe_offsets import latest_air
from walkboard.work.plan_request import changes_of

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

FEWEST_TO_LEARN = 5  # visits; of fewer, pipes are taken to drift as usual
# Visits that the drift is followed over. Chosen: with all of 145 visits the forecast's rms error is
# the same (1.64 cents), its median .51 instead of .59, in twice the time (bench drift_window).
MOST_VISITS = 60
USUAL_MINUTES = 180.0  # of a visit, where the book has none to go by


@dataclass(frozen=True, eq=False)
class Followed:
    """An organ followed over its visits: the newest `MOST_VISITS` and those that last heard a rank.

    Attributes
    ----------
    drift : OrganDrift
        State after the last of them.
    learned : Learned
    visits : tuple of PastVisit
    """

    drift: OrganDrift
    learned: Learned
    visits: tuple[PastVisit, ...]


def past_visit(book: Book, organ: Organ, visit: KeptVisit) -> PastVisit:
    """One visit of the book as input to the drift model.

    Pipes have today's names; those removed, revoiced or moved to another note since are left out. A
    reading made after its pipe was ticked as done does not count for arrival. A tuned pipe was left
    at its plan's target; if no plan names it, where later readings found it; without those it is
    unknown.
    """
    airs = book.recording_airs(visit.id)
    stated = latest_air(visit).celsius
    done = {p: t.at for p, t in book.pipe_states(visit.id).items() if t.state == TickState.DONE}
    today = compared_with_today(organ, visit.opened_at.year)
    heard: dict[PipeRef, PipeCents] = {}
    after: dict[PipeRef, PipeCents] = {}
    for kept in book.readings(visit.id):
        pipe = today(kept.reading.pipe)
        if pipe is None:
            continue  # it was removed or revoiced since
        air = airs[kept.recording_id]
        found = pipe_cents_of(kept.reading, organ.pitch.at_celsius if air is None else air)
        if found is None:
            continue
        found = replace(found, pipe=pipe)
        tuned_at = done.get(kept.reading.pipe)
        late = tuned_at is not None and kept.sounded_at is not None and kept.sounded_at > tuned_at
        known = after if late else heard
        if pipe not in known or found.sigma_cents < known[pipe].sigma_cents:
            known[pipe] = found
    plan = book.current_plan(visit.id)
    targets = {item.pipe: item.target_hz for item in plan.plan.items} if plan else {}
    left = {}
    for called in done:
        pipe = today(called)
        if pipe is None:
            continue
        air_now = stated.get(organ.rank(pipe.rank).division)
        if pipe in after:
            hz = target_hz(organ, pipe, after[pipe].air_celsius)
            left[pipe] = after[pipe].cents + cents_of_ratio(hz / target_hz(organ, pipe, air_now))
        elif called in targets:
            left[pipe] = cents_of_ratio(targets[called] / target_hz(organ, pipe, air_now))
    return PastVisit(visit.opened_at.date(), dict(stated), tuple(heard.values()), left)


def followed(
    book: Book, kept: KeptOrgan, organ: Organ, *, before: KeptVisit | None = None
) -> Followed:
    """The organ over its visits, or over those before one of them."""
    visits = _visits_that_tell(
        book, kept, [v for v in book.visits(kept.id) if before is None or v.id < before.id]
    )
    past = tuple(sorted((past_visit(book, organ, visit) for visit in visits), key=lambda v: v.at))
    enough = len(past) >= FEWEST_TO_LEARN
    learned = learned_of(book.path, kept.description, organ, past) if enough else AS_USUAL
    return Followed(follow(organ, past, learned), learned, past)


def _visits_that_tell(book: Book, kept: KeptOrgan, visits: Sequence[KeptVisit]) -> list[KeptVisit]:
    """The newest visits, and older ones that were the last to hear a rank."""
    if len(visits) <= MOST_VISITS:
        return list(visits)
    newest = {visit.id for visit in visits[-MOST_VISITS:]}
    newest.update(book.last_heard(kept.id).values())
    return [visit for visit in visits if visit.id in newest]


def outlook(seen: Followed, at: date, air_celsius: Mapping[str, float]) -> Forecast:
    """Forecast of every pipe for a date and an air."""
    return forecast(seen.drift, at, air_celsius, seen.learned)


def listening_for(
    book: Book,
    kept: KeptOrgan,
    organ: Organ,
    visit: KeptVisit,
    *,
    minutes: float,
    listening_minutes: float | None = None,
) -> ListeningChoice:
    """Keys to hold next at an open visit, given what has been heard so far.

    Raises
    ------
    InputError
        When the minutes are none.
    """
    if not minutes > 0.0:
        raise InputError("There are no minutes to listen in.", fix="Give --minutes.")
    seen = followed(book, kept, organ, before=visit)
    here = past_visit(book, organ, visit)
    _, now = at_visit(seen.drift, here, seen.learned)
    known = foreseen(organ, now, here.heard)
    found = prepare(
        organ,
        known.condition,
        here.heard,
        forecasts=known.forecasts,
        changes=changes_of(book, kept.id),
    ).situation(PlanRequest(minutes=minutes))
    heard = {pipe.pipe for pipe in here.heard}
    wanted = [pipe for pipe in organ.pipes() if pipe not in heard]
    offers = offers_of(organ, plan_survey(organ, pipes=wanted).walks)
    return choose_listening(found, offers, minutes, listening_minutes=listening_minutes)


def first_keys(
    book: Book, kept: KeptOrgan, organ: Organ, at: date, keys: int | None = None
) -> tuple[SurveyWalk, ...]:
    """The few keys that say most about the organ's state on a day, weighted like the plan.

    Without `keys` there are twenty, or forty for an organ never heard.
    """
    seen = followed(book, kept, organ)
    count = keys_to_begin_with(seen.drift) if keys is None else keys
    ahead = seen.drift.copy()
    at = max(at, seen.visits[-1].at) if seen.visits else at
    air = {d.id: organ.pitch.at_celsius for d in organ.divisions}
    (when,) = figures(organ, [PastVisit(at, air, ())])
    ahead.pass_to(when.year)
    weight = weights_of(organ, outlook(seen, at, air), changes_of(book, kept.id))
    return quick_look(ahead, when, offers_of(organ, plan_survey(organ).walks), weight, keys=count)


def readiness(
    book: Book, kept: KeptOrgan, organ: Organ, today: date, minutes: float | None = None
) -> tuple[Readiness, ...]:
    """Readiness for every coming event that is not cancelled."""
    given = usual_minutes(book, kept) if minutes is None else minutes
    return readiness_by(followed(book, kept, organ), book, kept, today, given)


def usual_minutes(book: Book, kept: KeptOrgan) -> float:
    """Minutes of the last visit that stated them, or the usual."""
    stated = [visit.minutes for visit in book.visits(kept.id) if visit.minutes is not None]
    return stated[-1] if stated else USUAL_MINUTES


def readiness_by(
    seen: Followed, book: Book, kept: KeptOrgan, today: date, minutes: float
) -> tuple[Readiness, ...]:
    """Readiness for every coming event, for an organ already followed."""
    changes = changes_of(book, kept.id)
    coming = [
        event
        for event in book.events(kept.id)
        if not event.cancelled and event.starts_at.date() >= today
    ]
    organ = seen.drift.organ
    return tuple(
        readiness_of(
            seen.drift, seen.learned, occasion_of(organ, event), today, minutes, changes=changes
        )
        for event in sorted(coming, key=lambda e: e.starts_at)
    )


def occasion_of(organ: Organ, event: KeptEvent) -> Occasion:
    """An event for the readiness; if no air is given, the organ's pitch temperature."""
    usual = organ.pitch.at_celsius if event.air_celsius is None else event.air_celsius
    air = {d.id: event.air_by_division.get(d.id, usual) for d in organ.divisions}
    known = {stop.id for stop in organ.stops}
    stops: Sequence[str] = [stop for stop in event.stops if stop in known]
    return Occasion(event.starts_at.date(), event.title, tuple(stops), air, event.use)
