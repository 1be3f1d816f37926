"""Before a visit is planned: what to ask, what has moved, how far reeds follow the air."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import TYPE_CHECKING

from walkboard.book.records import KeptVisit
from walkboard.organ.model import Organ
from walkboard.work.planned_pipes import known_pipes, organ_to_plan, remembered

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.condition.questions import InputQuestion
    from walkboard.condition.state import Condition
    from walkboard.planning.request import PlanRequest
    from walkboard.survey.hear.heard_walk import HeardWalk

FEWEST_VISITS = 3  # before what a reed follows is believed; chosen
MOST_FOLLOWS_SIGMA = 0.06  # of it; the prior alone has 0.08


def asked_before(
    organ: Organ, walks: Sequence[HeardWalk], condition: Condition, request: PlanRequest
) -> tuple[InputQuestion, ...]:
    """What to ask the tuner before these readings are planned with.

    Divisions that are apart are not asked about where the request says that they are coupled.
    """
    from walkboard.condition.questions import Asked, input_questions

    air = request.event_air_celsius
    airs = air if isinstance(air, Mapping) else {} if air is None else {"": air}
    return tuple(
        question
        for question in input_questions(organ, walks, condition, airs)
        if question.about is not Asked.DIVISIONS_APART
        or not request.coupled.issuperset(question.divisions)
    )


def moved_since(book: Book, visit: KeptVisit) -> tuple[str, ...]:
    """What has moved since the last visit beyond what time and air explain, a sentence each.

    Empty at a first visit, and where nothing usable was heard yet.
    """
    earlier = [v for v in book.visits(visit.organ_id) if v.id < visit.id]
    if not earlier:
        return ()

    def work_out() -> tuple[str, ...]:
        if not known_pipes(book, visit):
            return ()
        from walkboard.condition.drift.forecast import follow, forecast
        from walkboard.condition.drift.since import moved_since as sentences_of
        from walkboard.work.outlook import past_visit

        organ = organ_to_plan(book, visit)
        past = sorted((past_visit(book, organ, v) for v in earlier), key=lambda v: v.at)
        here = past_visit(book, organ, visit)
        ahead = forecast(follow(organ, past), here.at, here.air_celsius)
        return sentences_of(organ, ahead, here.heard, f"{past[-1].at:%B %Y}")

    return remembered(book, _moved_key(book, visit), work_out)


def moved_is_known(book: Book, visit: KeptVisit) -> bool:
    """Whether `moved_since` answers at once: forty years take some seconds to follow."""
    from walkboard.book.cache.seen import SeenBook

    first = all(v.id >= visit.id for v in book.visits(visit.organ_id))
    return first or (isinstance(book, SeenBook) and book.memory.knows(_moved_key(book, visit)))


def last_heard(book: Book, organ_id: int) -> KeptVisit | None:
    """The newest visit of an organ with a usable reading."""
    visits = sorted(book.visits(organ_id), key=lambda v: v.id, reverse=True)
    return next((visit for visit in visits if _is_heard(book, visit)), None)


def _is_heard(book: Book, visit: KeptVisit) -> bool:
    key = ("heard", *_moved_key(book, visit))
    return remembered(book, key, lambda: bool(known_pipes(book, visit)))


def _moved_key(book: Book, visit: KeptVisit) -> tuple[Hashable, ...]:
    from walkboard.book.cache.seen import SeenBook

    if not isinstance(book, SeenBook):
        return ()
    marks = book.marks(visit.id)
    version = book.organ(visit.organ_id).version
    return "moved since", visit.id, version, marks.hearings, marks.ticks, marks.conditions


def reed_follows(book: Book, visit: KeptVisit, organ: Organ) -> dict[str, float]:
    """How far each reed rank itself follows the air, 0 to 1, as earlier visits show.

    Empty where there are too few visits to know: then reeds are taken to stay where they are.
    """
    earlier = [v for v in book.visits(visit.organ_id) if v.id < visit.id]
    if len(earlier) < FEWEST_VISITS:
        return {}

    def work_out() -> dict[str, float]:
        from walkboard.condition.drift.forecast import follow
        from walkboard.work.outlook import past_visit

        past = sorted((past_visit(book, organ, v) for v in earlier), key=lambda v: v.at)
        drift = follow(organ, past)
        found = {}
        for rank, known in zip(organ.ranks, drift.ranks, strict=True):
            beyond, sigma = known.follows()  # −1 is a reed that stays where it is
            if not rank.family.is_flue and sigma < MOST_FOLLOWS_SIGMA:
                found[rank.id] = min(1.0, max(0.0, 1.0 + beyond))
        return found

    version = book.organ(visit.organ_id).version
    return remembered(book, ("follows", visit.organ_id, version, earlier[-1].id), work_out)
