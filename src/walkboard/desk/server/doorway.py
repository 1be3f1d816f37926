"""The doorway: answers the desk's own browser at once, while the desk still loads.

It listens as soon as the command runs. Until the desk is there it answers two things: the files
that every page needs, and the organ's page at the desk itself, as it was kept when the desk last
worked (`first_page`) or, where that is no longer true, drawn without its content. Both follow the
desk by themselves as soon as it is there. Everything else waits and is then handed over.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route, Router
from starlette.types import Message, Receive, Scope, Send
from starlette.websockets import WebSocketClose

from walkboard.book.glance import glance
from walkboard.desk.frame.origin import Origin
from walkboard.desk.frame.pairing import Devices
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.server.early_page import FirstPage, keep_page, kept_page, program_stamp
from walkboard.desk.server.gate import LOOPBACK, Gate, Guarded
from walkboard.desk.server.static_files import static_door
from walkboard.desk.text.preferences import cookie_words, preferences_of
from walkboard.errors import WalkboardError
from walkboard.languages.spoken import speak
from walkboard.work.book_choice import BookChoice

if TYPE_CHECKING:
    from starlette.applications import Starlette

    from walkboard.desk.frame.desk import Desk

_ORGAN = re.compile(r"/organ/(\d+)")
_QUIET_S = 60.0  # after the last change: then the page is kept, should the machine be cut off
_LOOK_S = 5.0
_HEAD_START_S = 0.3  # for the first page and its files: loading beside them takes half their speed
_TRY_AGAIN_SOCKET = 1013  # try again later (IANA's register of WebSocket close codes)


class Doorway:
    """Answers until the desk is ready, then hands over to it.

    Parameters
    ----------
    folder : Path
        The book's.
    shared_address : str or None
    load : callable
        Makes the application; called in a thread, once the server listens.
    failed : callable
        Called when that fails; `trouble` then says why.
    origin : Origin or None
        Of a desk behind a proxy: people sign in there before they see anything.

    Raises
    ------
    BookError
        When there is no book.
    """

    def __init__(
        self,
        folder: Path,
        shared_address: str | None,
        load: Callable[[], Starlette],
        failed: Callable[[], None],
        origin: Origin | None = None,
    ) -> None:
        self.trouble: Exception | None = None
        self._folder, self._load, self._failed = folder, load, failed
        self._application: Starlette | None = None
        self._is_settled, self._is_closing = asyncio.Event(), asyncio.Event()
        self._glance = glance(folder)
        self._usual = BookChoice.of(folder)
        self._kept = kept_page(folder)
        self._shown = None if self._kept is None else (self._kept.path, self._kept.choices)
        doors = [
            static_door(),
            Guarded(Route("/", self._start), Permission.ENTER),
            Guarded(Route("/organ/{organ:int}", self._organ), Permission.READ_RECORDS),
        ]
        inside = Router([door.route for door in doors])
        self._origin = origin
        self._early = Gate(
            inside, doors, Devices(folder), shared_address, self._hand_over, origin=origin
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer at once what can be, else wait for the desk."""
        if scope["type"] == "lifespan":
            await self._live(receive, send)
        elif self._application is None and self._is_early(scope):
            await self._early(scope, receive, send)
        else:
            await self._hand_over(scope, receive, send)

    def _is_early(self, scope: Scope) -> bool:
        if scope["type"] != "http" or scope["method"] != "GET":
            return False
        if scope["path"].startswith("/static/"):
            return True
        client = scope.get("client")
        if self._origin is not None or client is None or client[0] not in LOOPBACK:
            return False  # the cookies of people and phones are looked at by the desk
        numbers = [number for number, _ in self._glance.organs]
        if scope["path"] == "/":
            return len(numbers) == 1
        organ = _ORGAN.fullmatch(scope["path"])
        return organ is not None and int(organ[1]) in numbers

    async def _start(self, _: Request) -> Response:
        return RedirectResponse(f"/organ/{self._glance.organs[0][0]}", 303)

    async def _organ(self, request: Request) -> Response:
        chosen = preferences_of(request, self._usual)
        kept, choices = self._kept, cookie_words(chosen)
        self._shown = request.url.path, choices
        if (
            kept is not None
            and (kept.path, kept.choices) == self._shown
            and kept.is_true(self._glance.stamp, datetime.now(UTC))
        ):
            return HTMLResponse(kept.html)
        from walkboard.desk.frame.rendering import Renderer  # noqa: PLC0415 - Jinja: not needed above

        speak(chosen.language)
        organ_id = int(request.path_params["organ"])
        name = dict(self._glance.organs)[organ_id]
        return HTMLResponse(Renderer(()).opening(request, organ_id, name))

    async def _hand_over(self, scope: Scope, receive: Receive, send: Send) -> None:
        if self._application is None and scope["type"] == "websocket":
            # The page asks again in a moment; a channel held here may long be gone when it opens.
            await WebSocketClose(_TRY_AGAIN_SOCKET)(scope, receive, send)
            return
        await self._is_settled.wait()
        if self._application is None:
            await PlainTextResponse("The desk did not open.\n", 503)(scope, receive, send)
            return
        self._remember(scope)
        await self._application(scope, receive, send)

    def _remember(self, scope: Scope) -> None:
        """Which organ's page the desk's browser shows, and how: that one is stored."""
        client = scope.get("client")
        is_here = client is not None and client[0] in LOOPBACK
        if scope["type"] == "http" and is_here and _ORGAN.fullmatch(scope["path"]):
            self._shown = scope["path"], cookie_words(preferences_of(Request(scope), self._usual))

    async def _live(self, receive: Receive, send: Send) -> None:
        """The server's own life: the desk loads once it listens, and closes before it ends."""
        await receive()
        await send({"type": "lifespan.startup.complete"})
        running = asyncio.create_task(self._run())
        await receive()
        self._is_closing.set()
        await running
        await send({"type": "lifespan.shutdown.complete"})

    async def _run(self) -> None:
        with suppress(TimeoutError):
            await asyncio.wait_for(self._is_closing.wait(), _HEAD_START_S)
        try:
            application = await asyncio.to_thread(self._load)
        except Exception as error:
            self.trouble = error
            self._is_settled.set()
            self._failed()
            return
        page = None
        async with application.router.lifespan_context(application):
            self._application = application
            self._is_settled.set()
            keeping = asyncio.create_task(self._keep_when_quiet(application))
            await self._is_closing.wait()
            keeping.cancel()
            with suppress(WalkboardError, OSError):
                page = await self._draw(application)
        if page is not None:
            await asyncio.to_thread(self._keep, page)

    async def _keep_when_quiet(self, application: Starlette) -> None:
        desk: Desk = application.state.desk
        kept = seen = -1
        quiet_s = 0.0
        while True:
            await asyncio.sleep(_LOOK_S)
            with suppress(WalkboardError, OSError):
                change = desk.book.change()
                quiet_s = quiet_s + _LOOK_S if change == seen else 0.0
                seen = change
                if change != kept and quiet_s >= _QUIET_S:
                    page = await self._draw(application)
                    if page is not None:
                        await asyncio.to_thread(self._keep, page)
                    kept = change

    async def _draw(self, application: Starlette) -> FirstPage | None:
        """The organ's page as the desk draws it now; None where nobody looked at one."""
        desk: Desk = application.state.desk
        if self._shown is None or not desk.is_warm.is_set():
            return None
        path, choices = self._shown
        before = (await asyncio.to_thread(glance, self._folder)).stamp
        html = await _asked(application, path, choices)
        now = datetime.now(UTC)
        organ_id = int(path.rpartition("/")[2])
        events = await asyncio.to_thread(desk.book.events, organ_id)
        coming = [event.starts_at for event in events if event.starts_at > now]
        until = min(coming).isoformat() if coming else ""
        if not html:
            return None
        return FirstPage(path, choices, html, before, program_stamp(), until)

    def _keep(self, page: FirstPage) -> None:
        # If the book changed while the page was drawn, the page is already stale.
        with suppress(WalkboardError, OSError):
            if glance(self._folder).stamp == page.book:
                keep_page(self._folder, page)


async def _asked(application: Starlette, path: str, choices: str) -> str:
    """What the desk answers its own browser; empty where that is no page."""
    parts: list[bytes] = []
    status = 0

    async def sending(message: Message) -> None:
        nonlocal status
        if message["type"] == "http.response.start":
            status = message["status"]
        parts.append(message.get("body", b""))

    async def nothing() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    scope: Scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "root_path": "",
        "query_string": b"",
        "headers": [
            (b"host", b"127.0.0.1"),
            (b"accept", b"text/html"),
            (b"cookie", choices.encode()),
        ],
        "client": ("127.0.0.1", 0),
        "server": ("127.0.0.1", 80),
    }
    await application(scope, nothing, sending)
    return b"".join(parts).decode() if status == 200 else ""
