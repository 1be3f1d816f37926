"""Practice: the whole flow on an invented organ, with its slides and springs on the page.

Topic ``practice``: as ``listening``, see `walkboard.desk.live.messages`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.live.practice import MOVES_CENTS, TOPIC
from walkboard.desk.pages.measured import setup
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.preferences import preferences_of
from walkboard.errors import InputError
from walkboard.physics.air import Air, speed_of_sound_m_s

if TYPE_CHECKING:
    from walkboard.demo.practice.lesson import Lesson

_WAYS = {"flatter": -1.0, "sharper": 1.0}
_DO = {"skip", "undo", "hold", "release"}


def practice(request: Request) -> Response:
    """The practice organ, or how to begin."""
    desk = desk_of(request)
    lesson = desk.practising.lesson
    if lesson is None:
        return render(request, "practice/begin.html", topics="")
    return render(
        request,
        "practice.html",
        topics=TOPIC,
        organ_name=lesson.organ.name,
        is_held=desk.practising.is_held,
        sizes=tuple(MOVES_CENTS),
        measured=setup(TOPIC, "", preferences_of(request)),
        moves=_moves(lesson),
    )


def start(request: Request) -> Response:
    """Begin."""
    desk = desk_of(request)
    desk.practising.start(desk.hub)
    return RedirectResponse("/practice", 303)


def stop(request: Request) -> Response:
    """End it."""
    desk_of(request).practising.stop()
    return RedirectResponse("/practice", 303)


def move(request: Request) -> Response:
    """Move the pipe at hand."""
    way, size = request.path_params["way"], request.path_params["size"]
    if way not in _WAYS or size not in MOVES_CENTS:
        raise InputError(say("practice.no_such_move"))
    desk_of(request).practising.move(_WAYS[way] * MOVES_CENTS[size])
    return Response(status_code=204)


def do(request: Request) -> Response:
    """Hold or release the key, skip, undo."""
    what = request.path_params["what"]
    if what not in _DO:
        raise InputError(say("practice.no_such_move"))
    _done(desk_of(request), what)
    return JSONResponse({"done": what})


def _done(desk: Desk, what: str) -> None:
    practising = desk.practising
    if what in {"hold", "release"}:
        practising.hold(what == "hold")
    elif what == "skip":
        practising.skip()
    else:
        practising.undo()


def _moves(lesson: Lesson) -> dict[str, dict[str, str]]:
    """What each button does to each pipe, as the hand knows it."""
    from walkboard.physics.moving import movement  # noqa: PLC0415 - loads scipy

    found: dict[str, dict[str, str]] = {}
    for ref, pipe in lesson.pipes.items():
        rank = lesson.organ.rank(ref.rank)
        celsius = lesson.air_celsius.get(rank.division, lesson.organ.pitch.at_celsius)
        speed = speed_of_sound_m_s(Air(celsius))
        words: dict[str, str] = {}
        for way, sign in _WAYS.items():
            for size, cents in MOVES_CENTS.items():
                moved = movement(
                    rank.tuned_by_of(ref.number).value,
                    sign * cents,
                    hz=pipe.target_hz,
                    speed_m_s=speed,
                )
                far = moved.distance or say(f"practice.size_{size}")
                words[f"{way}-{size}"] = f"{moved.words}, {far}"
        found[str(ref)] = words
    return found


def _doors() -> tuple[Door, ...]:
    return (
        Door("/practice", practice, Permission.PRACTISE),
        Door("/practice/start", start, Permission.PRACTISE, ("POST",)),
        Door("/practice/stop", stop, Permission.PRACTISE, ("POST",)),
        Door("/practice/move/{way}/{size}", move, Permission.PRACTISE, ("POST",)),
        Door("/practice/do/{what}", do, Permission.PRACTISE, ("POST",)),
    )


PAGE = Page("practice", _doors(), place="/practice", rank=95)
