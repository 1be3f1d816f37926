"""The gate before every page and live channel: who may connect, from where, and with how much data.

Plain ASGI on purpose: middleware made of classes for HTTP never sees a websocket.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.routing import BaseRoute, Match
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocketClose

from walkboard.book.rows.acting import NOBODY, recording_as
from walkboard.desk.frame.access import AT_DESK, SESSION_COOKIE, UNKNOWN, Visitor, paired
from walkboard.desk.frame.origin import Origin
from walkboard.desk.frame.page import LARGEST_BODY_BYTES
from walkboard.desk.frame.pairing import COOKIE, Devices
from walkboard.desk.frame.permissions import Permission

LOOPBACK = frozenset({"127.0.0.1", "::1"})
_HOME_NAMES = frozenset({"127.0.0.1", "localhost", "[::1]"})
_OF_PROXIES = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")
_REFUSED_SOCKET = 1008  # policy violation (RFC 6455, 7.4.1)


@dataclass(frozen=True, slots=True)
class Guarded:
    """A route with what the gate needs to know."""

    route: BaseRoute
    permission: Permission
    largest_bytes: int = LARGEST_BODY_BYTES


class Gate:
    """Refuses a foreign host (421), a foreign origin (403), whoever may not (401 or 403, as
    `stranger` answers) and too much (413).

    Parameters
    ----------
    app : ASGI application
    guarded : sequence of Guarded
        Every route; what matches none asks for `Permission.ENTER`, so that a stranger learns
        nothing.
    devices : Devices
    shared_address : str or None
        The address of the local network that the desk is shared at.
    stranger : ASGI application
        Answers anyone who asks for a page without permission.
    origin : Origin or None
        Of a desk behind a proxy. Everyone signs in there, also on this machine: what comes from
        here comes from the proxy.
    signed_in : callable
        The person of a session's cookie; asks the book. Used behind a proxy only.
    """

    def __init__(
        self,
        app: ASGIApp,
        guarded: Sequence[Guarded],
        devices: Devices,
        shared_address: str | None,
        stranger: ASGIApp,
        *,
        origin: Origin | None = None,
        signed_in: Callable[[str], Visitor | None] = lambda _: None,
    ) -> None:
        self._app = app
        self._stranger = stranger
        self._guarded = tuple(guarded)
        self._devices = devices
        self._origin = origin
        self._signed_in = signed_in
        if origin is not None:
            self._names = frozenset({origin.host})
        else:
            self._names = _HOME_NAMES | ({shared_address} if shared_address else set())

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request or a live channel through, or refuse it."""
        if scope["type"] not in {"http", "websocket"}:
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        if _host(headers) not in self._names:
            await _refuse(scope, receive, send, 421, "This desk has another address.")
            return
        if not self._is_origin_ours(headers, scope):
            await _refuse(scope, receive, send, 403, "Asked from another site.")
            return
        visitor = await self._visitor(scope, headers)
        door, organ_id = self._door(scope)
        scope.setdefault("state", {})["visitor"] = visitor
        if not visitor.may(door.permission, organ_id):
            answer = self._stranger if scope["type"] == "http" else WebSocketClose(_REFUSED_SOCKET)
            await answer(scope, receive, _headed(send, headers))
            return
        if _stated_bytes(headers) > door.largest_bytes:
            await _refuse(scope, receive, send, 413, "This is too large.")
            return
        with recording_as(_recorder(visitor)):
            await self._app(scope, _Measured(receive, door.largest_bytes), _headed(send, headers))

    async def _visitor(self, scope: Scope, headers: Headers) -> Visitor:
        if self._origin is not None:
            token = _cookies(headers).get(SESSION_COOKIE, "")
            return (await run_in_threadpool(self._signed_in, token) if token else None) or UNKNOWN
        client = scope.get("client")
        is_home = _host(headers) in _HOME_NAMES
        # Through a proxy that the desk was not started for, everyone would come from here.
        is_direct = not any(name in headers for name in _OF_PROXIES)
        if client is not None and client[0] in LOOPBACK and is_home and is_direct:
            return AT_DESK
        device = self._devices.known(_cookies(headers).get(COOKIE, ""))
        return UNKNOWN if device is None else paired(device.id)

    def _is_origin_ours(self, headers: Headers, scope: Scope) -> bool:
        origin = headers.get("origin")
        site = headers.get("sec-fetch-site")
        if origin is None:
            # A link from elsewhere may open a page; nothing else may come from another site.
            is_opening = headers.get("sec-fetch-mode") in {None, "navigate"}
            return site in {None, "same-origin", "none"} or (
                is_opening and scope["type"] == "http" and scope["method"] == "GET"
            )
        if self._origin is not None:
            return origin.lower() == str(self._origin)
        secure = scope.get("scheme") in {"https", "wss"}
        return origin.lower() == f"{'https' if secure else 'http'}://{headers['host'].lower()}"

    def _door(self, scope: Scope) -> tuple[Guarded, int | None]:
        """The door that a request is for, and the organ that its path names."""
        # One path may have several doors, by method: only a complete match counts.
        found = None
        for guarded in self._guarded:
            match, child = guarded.route.matches(scope)
            if match is Match.NONE or (match is Match.PARTIAL and found is not None):
                continue
            found = guarded, child.get("path_params", {}).get("organ")
            if match is Match.FULL:
                break
        return found or (Guarded(BaseRoute(), Permission.ENTER), None)


def _recorder(visitor: Visitor) -> str | None:
    """Whom to record: the person signed in; at the desk, the one named for this computer."""
    if visitor.person is not None:
        return visitor.person.uid
    return None if visitor.is_at_desk else NOBODY


class TooMuchError(Exception):
    """The body is larger than the door allows."""


class _Measured:
    """A request's body, counted as it arrives: its header may be wrong or missing."""

    def __init__(self, receive: Receive, largest_bytes: int) -> None:
        self._receive = receive
        self._left = largest_bytes

    async def __call__(self) -> Message:
        message = await self._receive()
        if message["type"] == "http.request":
            self._left -= len(message.get("body", b""))
            if self._left < 0:
                raise TooMuchError
        return message


def safe_headers(host: str) -> dict[str, str]:
    """Headers of every answer, so that a browser loads only our own files.

    Parameters
    ----------
    host : str
        As the browser named it.
    """
    policy = (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        f"media-src 'self' blob:; connect-src 'self' ws://{host} wss://{host}; "
        "form-action 'self'; manifest-src 'self'; base-uri 'none'; frame-ancestors 'none'"
    )
    return {
        "Content-Security-Policy": policy,
        "Referrer-Policy": "same-origin",
        "X-Content-Type-Options": "nosniff",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Permissions-Policy": "camera=(), geolocation=(), microphone=(self)",
    }


def _headed(send: Send, asked: Headers) -> Send:
    safe = safe_headers(asked.get("host", ""))

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers.update(safe)
            headers.setdefault("Cache-Control", "no-store")
        await send(message)

    return sending


async def _refuse(scope: Scope, receive: Receive, send: Send, code: int, words: str) -> None:
    if scope["type"] == "websocket":
        await WebSocketClose(_REFUSED_SOCKET, words)(scope, receive, send)
        return
    headers = {"Referrer-Policy": "same-origin", "X-Content-Type-Options": "nosniff"}
    await PlainTextResponse(f"{words}\n", code, headers)(scope, receive, send)


def _host(headers: Headers) -> str:
    """The name of the host that is asked for, without its port; empty where there is not one."""
    hosts = headers.getlist("host")
    if len(hosts) != 1:
        return ""
    return re.sub(r":\d+$", "", hosts[0].lower())


def _stated_bytes(headers: Headers) -> int:
    stated = headers.get("content-length", "0")
    return int(stated) if stated.isdecimal() else 0


def _cookies(headers: Headers) -> dict[str, str]:
    # Only the plain name=value pairs that our own cookies are.
    pairs = (part.strip().partition("=") for part in headers.get("cookie", "").split(";"))
    return {name: value for name, _, value in pairs}
