"""Styles, scripts and the mark: files that every page loads from the desk itself."""

from __future__ import annotations

from starlette.routing import Mount
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Receive, Scope, Send

from walkboard.desk.frame.permissions import Permission
from walkboard.desk.server.gate import Guarded


def static_door() -> Guarded:
    """The door to them, open to anyone whom the network lets in."""
    files = StaticFiles(packages=[("walkboard.desk", "static")])
    return Guarded(Mount("/static", _Fresh(files)), Permission.OPEN)


_WORKER = "/static/worker.js"


class _Fresh:
    """Static files that a browser asks after each time: the server is in the same room."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def sending(message: dict[str, object]) -> None:
            if message["type"] == "http.response.start":
                headers = message["headers"]
                assert isinstance(headers, list)
                headers.append((b"cache-control", b"no-cache"))
                if scope["path"] == _WORKER:  # it keeps pages that are not under /static
                    headers.append((b"service-worker-allowed", b"/"))
            await send(message)

        await self._app(scope, receive, sending)  # type: ignore[arg-type]
