"""Holding: the key to hold now, for the key holder; in a walk, or as the tuner goes on.

Topics. ``at.VISIT``: where the tuner stands, ``{"pipe": …}`` (sent by the page at the pipe).
``holds.VISIT``: what is heard of the key that is held, while it is held: ``{"key": SEMITONE,
"state": "more" | "enough", "drawn": [STOP, …]}``; sent by whoever listens live. Without it the page
shows how each key was heard once a recording was taken in.
"""

from __future__ import annotations

from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from walkboard.book.records import KeptVisit
from walkboard.desk.background.surveys import survey_of
from walkboard.desk.drawing.visit import keyboard_drawing, runs_words
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.pipe import steps_for_script, topic_of
from walkboard.desk.pages.visit.frame import open_visit
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.preferences import preferences_of
from walkboard.organ.model import Organ
from walkboard.sheets.keyholder import stop_words
from walkboard.survey.plan.walk_plan import SurveyWalk
from walkboard.work.heard_keys import Enough, keys_heard
from walkboard.work.snapshot import organ_at
from walkboard.work.worklist import progress_of, work_groups


def holding(request: Request) -> Response:
    """What can be held: the worklist with the tuner, or one of the walks."""
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    survey = survey_of(desk, kept)
    visit = open_visit(desk, kept.id)
    groups = None if visit is None else work_groups(desk.book, visit)
    chosen = preferences_of(request)
    heard = _heard_counts(desk, organ, visit, survey.walks if survey else ())
    return render(
        request,
        "holding.html",
        organ=organ,
        visit=visit,
        progress=progress_of(groups) if groups else None,
        survey=survey,
        walks=[
            {
                "number": n,
                "division": organ.division(walk.division).name,
                "stops": _stops(organ, walk),
                "runs": runs_words(walk.runs, chosen),
                "minutes": survey.minutes_of(walk),
                "heard": heard[n - 1],
            }
            for n, walk in enumerate(survey.walks, start=1)
        ]
        if survey
        else [],
    )


def walk(request: Request) -> Response:
    """One walk, key by key."""
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    survey = survey_of(desk, kept)
    number = int(request.path_params["number"])
    if survey is None:
        return render(request, "holding/waiting.html", organ=organ)
    if not 1 <= number <= len(survey.walks):
        raise HTTPException(404)
    walked = survey.walks[number - 1]
    visit = open_visit(desk, kept.id)
    chosen = preferences_of(request)
    heard = _enough(desk, organ, visit, walked)
    division = organ.division(walked.division)
    value = {
        "kind": "walk",
        "visit": None if visit is None else visit.id,
        "steps": [
            {
                "key": chosen.key(key),
                "semitone": key.semitone,
                "division": division.id,
                "heard": heard.get(key.semitone, ""),
            }
            for key in walked.keys
        ],
    }
    return render(
        request,
        "holding/hold.html",
        organ=organ,
        title=say("holding.walk_title", n=number, division=division.name),
        draw=say("holding.draw", stops=_stops(organ, walked), division=division.name),
        boards=[(division.id, keyboard_drawing(division, _board_title(division.name)))],
        work=value,
        topics=f"holds.{visit.id}" if visit else "",
        is_walk=True,
        counts=_counts(heard, len(walked.keys)),
    )


def worklist(request: Request) -> Response:
    """The worklist, following the tuner's phone."""
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    visit = open_visit(desk, kept.id)
    groups = None if visit is None else work_groups(desk.book, visit)
    if visit is None or not groups:
        return render(request, "holding/no_work.html", organ=organ)
    steps = steps_for_script(organ_at(desk.book, visit), groups, preferences_of(request))
    used = list(dict.fromkeys(step["division"] for step in steps if step["division"]))
    value: dict[str, Any] = {
        "kind": "worklist",
        "visit": visit.id,
        "follows": topic_of(visit),
        "place": f"/organ/{kept.id}/pipe/at",
        "steps": steps,
    }
    return render(
        request,
        "holding/hold.html",
        organ=organ,
        title=say("holding.worklist_title"),
        draw=steps[0]["draw"],
        boards=[
            (d, keyboard_drawing(organ.division(d), _board_title(organ.division(d).name)))
            for d in used
        ],
        work=value,
        topics=f"{topic_of(visit)} holds.{visit.id}",
        is_walk=False,
        counts=None,
    )


def _stops(organ: Organ, walked: SurveyWalk) -> str:
    return ", ".join(stop_words(organ, organ.stop(stop)) for stop in walked.drawn)


def _board_title(name: str) -> str:
    return say("holding.board", division=name)


def _enough(
    desk: Desk, organ: Organ, visit: KeptVisit | None, walked: SurveyWalk
) -> dict[int, str]:
    """How each key of a walk was heard at a visit, by its semitone."""
    if visit is None:
        return {}
    walks = [recording.walk for recording in desk.book.recordings(visit.id)]
    found = keys_heard(organ, walks, walked.drawn)
    # Only the keys of this walk: others may have been held with the same stops drawn.
    wanted = set(walked.keys)
    return {heard.key.semitone: heard.enough.value for heard in found if heard.key in wanted}


def _counts(heard: dict[int, str], keys: int) -> dict[str, int]:
    well = sum(state == Enough.YES.value for state in heard.values())
    return {"heard": len(heard), "well": well, "of": keys}


def _heard_counts(
    desk: Desk, organ: Organ, visit: KeptVisit | None, walks: tuple[SurveyWalk, ...]
) -> list[dict[str, int] | None]:
    found = []
    for walked in walks:
        heard = _enough(desk, organ, visit, walked)
        found.append(_counts(heard, len(walked.keys)) if heard else None)
    return found


PAGE = Page(
    "holding",
    (
        Door("/organ/{organ:int}/holding", holding, Permission.HOLD_KEYS),
        Door("/organ/{organ:int}/holding/worklist", worklist, Permission.HOLD_KEYS),
        Door("/organ/{organ:int}/holding/walk/{number:int}", walk, Permission.HOLD_KEYS),
    ),
    place="/organ/{organ}/holding",
    rank=50,
)
