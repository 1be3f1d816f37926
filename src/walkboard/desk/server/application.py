"""The application: pages, gate, live channel and outbox around one book."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocket

from walkboard.desk.background import jobs
from walkboard.desk.background.jobs import Job, Jobs
from walkboard.desk.background.readiness import Readiness, keep_worked_out
from walkboard.desk.frame.access import visitor_of
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Keeper, Page
from walkboard.desk.frame.pairing import Devices, Pairing
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import Renderer, render
from walkboard.desk.frame.signing_in import SignedIn, SigningIn
from walkboard.desk.live.hub import Hub
from walkboard.desk.live.start import take_in_killed
from walkboard.desk.pages import PAGES
from walkboard.desk.server import outbox
from walkboard.desk.server.gate import Gate, Guarded, TooMuchError, safe_headers
from walkboard.desk.server.static_files import static_door
from walkboard.desk.text import preferences
from walkboard.desk.text.catalogue import say
from walkboard.errors import BookError, UnknownNameError, WalkboardError
from walkboard.languages.translation import translate
from walkboard.work.book_choice import BookChoice
from walkboard.work.calendar.events import today
from walkboard.work.overview import overview, recall
from walkboard.work.snapshot import opened_to_see

if TYPE_CHECKING:
    from walkboard.book.cache.seen import SeenBook
    from walkboard.book.records import KeptOrgan

_LOOK_S = 0.2  # how often the desk checks whether the book has changed
_WARMED = 3  # organs that are calculated before anyone asks. Chosen.
BOOK_TOPIC = "book"


def make_application(
    folder: Path,
    *,
    shared_address: str | None = None,
    fingerprint: str = "",
    authority: bytes = b"",
    pages: Sequence[Page] = PAGES,
    signing_in: SigningIn | None = None,
) -> Starlette:
    """The desk of a book as an ASGI application.

    Parameters
    ----------
    folder : Path
        The book's.
    shared_address : str or None
        The address of the local network that it is shared at; None: this machine only.
    fingerprint : str
        Fingerprint of the certificate that it shows there; empty where nothing is encrypted.
    authority : bytes
        Certificate of the authority that signed it (DER), for phones to install.
    pages : sequence of Page
    signing_in : SigningIn or None
        Of a desk behind a proxy, where everyone signs in.

    Raises
    ------
    BookError
        When there is no book, or it cannot be used.
    """
    book = opened_to_see(folder)
    hub = Hub()
    devices = Devices(book.path)
    keepers: dict[str, Keeper] = {}
    for page in pages:
        keepers.update(page.settings)
    desk = Desk(
        book=book,
        hub=hub,
        jobs=Jobs(lambda all_: hub.tell(jobs.TOPIC, [_job_to_json(job) for job in all_])),
        pairing=Pairing(devices),
        shared_address=shared_address,
        fingerprint=fingerprint,
        authority=authority,
        readiness=Readiness(book.path),
        signing_in=signing_in,
    )
    signed_in = SignedIn(book)
    guarded = guarded_doors(pages)
    routes = [g.route for g in guarded]
    application: Starlette = Starlette(
        routes=routes,
        lifespan=_lifespan,
        middleware=[
            Middleware(preferences.InItsLanguage, usual=lambda: application.state.book_choice),
            Middleware(
                Gate,
                guarded=guarded,
                devices=devices,
                shared_address=shared_address,
                stranger=_stranger,
                origin=None if signing_in is None else signing_in.origin,
                signed_in=signed_in.visitor,
            ),
            Middleware(_InOneMoment, book=book),
        ],
        exception_handlers={
            WalkboardError: _of_ours,
            TooMuchError: _too_much,
            HTTPException: _of_http,
            Exception: _unforeseen,
        },
    )
    application.state.desk = desk
    application.state.signed_in = signed_in
    application.state.book_choice = BookChoice.of(book.path)
    application.state.renderer = Renderer(tuple(pages))
    application.state.outbox = outbox.Outbox(keepers)
    return application


def guarded_doors(pages: Sequence[Page] = PAGES) -> list[Guarded]:
    """Every door of the application, in the order in which they are tried."""
    return [*_own_doors(), *(g for page in pages for g in _doors_of(page))]


class _InOneMoment:
    """Answers each request from one look at the book: whether it has changed, and what it holds."""

    def __init__(self, app: ASGIApp, book: SeenBook) -> None:
        self._application = app
        self._book = book

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._application(scope, receive, send)
            return
        with self._book.one_view(), self._book.one_moment():
            await self._application(scope, receive, send)


def _own_doors() -> list[Guarded]:
    return [
        static_door(),
        Guarded(WebSocketRoute("/live", _live), Permission.ENTER),
        Guarded(
            Route("/outbox", outbox.take, methods=["POST"]), Permission.ENTER, outbox.LARGEST_BYTES
        ),
        Guarded(Route("/preferences", preferences.choose, methods=["POST"]), Permission.OPEN),
        Guarded(Route("/jobs/{job}/stop", _stop_job, methods=["POST"]), Permission.STOP_WORK),
    ]


def _doors_of(page: Page) -> list[Guarded]:
    found = []
    for door in page.doors:
        route: BaseRoute = Route(door.path, door.endpoint, methods=list(door.methods))
        found.append(Guarded(route, door.permission, door.largest_bytes))
    return found


@asynccontextmanager
async def _lifespan(application: Starlette) -> AsyncIterator[None]:
    desk: Desk = application.state.desk
    desk.hub.attach()
    watching = asyncio.create_task(_watch(desk, application.state.signed_in))
    working_out = asyncio.create_task(
        keep_worked_out(desk.readiness, desk, today, lambda: desk.is_sounding)
    )
    warming = asyncio.create_task(asyncio.to_thread(_warm, desk))
    try:
        yield
    finally:
        watching.cancel()
        working_out.cancel()
        await warming
        await desk.hub.close()
        await asyncio.to_thread(desk.listening.stop)
        await asyncio.to_thread(desk.practising.stop)
        await asyncio.to_thread(desk.jobs.close)
        desk.exports.close()
        desk.book.close()


def _warm(desk: Desk) -> None:
    """Calculate what the first pages show, while the browser is still opening."""
    likely: list[KeptOrgan] = []
    try:
        with suppress(WalkboardError):
            likely = _likely(desk.book)
            for kept in likely:
                overview(desk.book, kept)
    finally:
        desk.is_warm.set()
    with suppress(WalkboardError):
        take_in_killed(desk.book)
    with suppress(WalkboardError):
        for kept in likely:
            recall(desk.book, kept)


def _likely(book: SeenBook) -> list[KeptOrgan]:
    """The organs whose pages will be asked for first: those with the newest visits."""
    newest = book.newest_visits()
    organs = [kept for kept in book.organs() if kept.id in newest] or list(book.organs())
    organs.sort(key=lambda kept: newest[kept.id].opened_at if newest else kept.added_at)
    return organs[: -_WARMED - 1 : -1]


async def _watch(desk: Desk, signed_in: SignedIn) -> None:
    """Notify pages of any change of the book; close what ended sessions left open."""
    known = -1
    while True:
        with suppress(BookError):  # the disk may be gone for a moment; the next check will tell
            change = desk.book.change()
            if change != known:
                known = change
                desk.hub.tell(BOOK_TOPIC, f"{desk.hub.run}.{change}")
                if desk.signing_in is not None:
                    for device in desk.hub.devices():
                        if not await asyncio.to_thread(signed_in.is_open, device):
                            await desk.hub.drop(device)
        await asyncio.sleep(_LOOK_S)


async def _live(socket: WebSocket) -> None:
    desk = desk_of(socket)
    visitor = visitor_of(socket)
    topics = socket.query_params.get("topics", "").split(",")
    if not visitor.may_on_every_organ(Permission.HOLD_KEYS):
        # Most topics are of no one organ: only that something changed is for everyone.
        topics = [topic for topic in topics if topic == BOOK_TOPIC]
    await desk.hub.serve(socket, topics, visitor.device)


async def _stop_job(request: Request) -> Response:
    stopped = desk_of(request).jobs.stop(request.path_params["job"])
    return JSONResponse({"stopped": stopped}, 200 if stopped else 404)


def _job_to_json(job: Job) -> dict[str, object]:
    return {**asdict(job), "state": job.state.value}


async def _stranger(scope: Scope, receive: Receive, send: Send) -> None:
    request = Request(scope, receive)
    visitor = visitor_of(request)
    desk = desk_of(request)
    if desk.signing_in is not None and not visitor.is_known and _wants_page(request):
        back = quote(request.url.path, safe="/")
        answer: Response = RedirectResponse(f"/sign-in?to={back}", 303)
        await answer(scope, receive, send)
        return
    status, key = (403, "desk_only") if visitor.is_known else (401, "stranger")
    if visitor.person is not None:
        status, key = 403, "not_permitted"
    answer = _trouble(request, status, say(f"frame.{key}_what"), say(f"frame.{key}_fix"))
    await answer(scope, receive, send)


async def _of_ours(request: Request, error: Exception) -> Response:
    assert isinstance(error, WalkboardError)
    status = 404 if isinstance(error, UnknownNameError) else 400
    if isinstance(error, BookError):
        status = 409
    return _trouble(request, status, translate(error.what), translate(error.fix))


async def _of_http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    key = "not_found" if error.status_code == 404 else "not_so"
    return _trouble(request, error.status_code, say(f"frame.{key}_what"), say(f"frame.{key}_fix"))


async def _too_much(request: Request, _: Exception) -> Response:
    return _trouble(request, 413, say("frame.too_much_what"), say("frame.too_much_fix"))


async def _unforeseen(request: Request, _: Exception) -> Response:
    answer = _trouble(request, 500, say("frame.unforeseen_what"), say("frame.unforeseen_fix"))
    answer.headers.update(safe_headers(request.headers.get("host", "")))  # the gate is passed by
    return answer


def _wants_page(request: Request) -> bool:
    return "text/html" in request.headers.get("accept", "")


def _trouble(request: Request, status: int, what: str, fix: str) -> Response:
    if not _wants_page(request):
        return JSONResponse({"trouble": what, "mend": fix}, status)
    return render(request, "trouble.html", status=status, what=what, fix=fix)
