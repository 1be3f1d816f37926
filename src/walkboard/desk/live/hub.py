"""The live channel: the newest value of each topic, to every page that follows it.

A phone's poor connection (sleep, shadow, a restart of the server) must never show an old value as
fresh, or make the newest wait behind old ones. So

1. a client has one slot a topic, and the newest value wins;
2. the browser acknowledges what it got; at ten unacknowledged the server stops sending;
3. every message carries the last stamp that the browser sent, and for how long the server has had
   it: the message cannot be older than that stamp's age, by the browser's own clock alone. The page
   (``static/live.js``) shows as behind whatever is older than 0.7 s.
"""

from __future__ import annotations

import asyncio
import json
import secrets
import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field

from starlette.websockets import WebSocket, WebSocketDisconnect

from walkboard.parsing import json_value

BEAT_S = 0.25
MOST_UNSEEN = 10
_MOST_TOPICS = 16
_LONGEST_ACK = 200  # characters
_GOING_AWAY, _REVOKED = 1001, 1008  # RFC 6455, 7.4.1


@dataclass(eq=False)
class _Client:
    topics: frozenset[str]
    device: str
    waiting: dict[str, object]
    wake: asyncio.Event = field(default_factory=asyncio.Event)
    sent: int = 0
    seen: int = 0
    stamp: float | None = None
    stamped_s: float = 0.0

    @property
    def is_full(self) -> bool:
        return self.sent - self.seen >= MOST_UNSEEN


class Hub:
    """Takes values from any thread and gives each client the newest.

    Attributes
    ----------
    run : str
        Differs from one start of the server to the next.
    """

    def __init__(self) -> None:
        self.run = secrets.token_hex(4)
        self._latest: dict[str, object] = {}
        self._clients: set[_Client] = set()
        self._sockets: dict[_Client, WebSocket] = {}
        self._loop: asyncio.AbstractEventLoop | None = None

    def attach(self) -> None:
        """Attach to the running event loop."""
        self._loop = asyncio.get_running_loop()

    def tell(self, topic: str, value: object) -> None:
        """Publish a topic's newest value to its followers; from any thread, never waits.

        Parameters
        ----------
        topic : str
        value : object
            Anything that JSON can carry; small.
        """
        loop = self._loop
        if loop is None:
            self._latest[topic] = value
        elif not loop.is_closed():
            loop.call_soon_threadsafe(self._tell, topic, value)

    def forget(self, topic: str) -> None:
        """Drop the last value of a topic, so that later followers do not get it."""
        self._latest.pop(topic, None)

    def followers(self, topic: str) -> int:
        """How many clients follow a topic now."""
        return sum(topic in client.topics for client in tuple(self._clients))

    def _tell(self, topic: str, value: object) -> None:
        self._latest[topic] = value
        for client in self._clients:
            if topic in client.topics:
                client.waiting[topic] = value
                if not client.is_full:
                    client.wake.set()

    async def serve(self, socket: WebSocket, topics: Iterable[str], device: str = "") -> None:
        """Serve one client until it disconnects.

        Parameters
        ----------
        socket : WebSocket
            Not accepted yet.
        topics : iterable of str
        device : str
            Id of a paired device, so that revoking it ends the channel.
        """
        await socket.accept()
        followed = frozenset(tuple(topics)[:_MOST_TOPICS])
        latest = {t: v for t, v in self._latest.items() if t in followed}
        client = _Client(followed, device, latest)
        self._clients.add(client)
        self._sockets[client] = socket
        sender = asyncio.create_task(self._send(socket, client))
        try:
            while True:
                self._acknowledge(client, await socket.receive_text())
        except (WebSocketDisconnect, ValueError, KeyError, TypeError):
            pass  # gone, or sending nonsense: either way it reconnects
        finally:
            self._clients.discard(client)
            self._sockets.pop(client, None)
            sender.cancel()

    def devices(self) -> frozenset[str]:
        """The ids of the devices that have a channel."""
        return frozenset(client.device for client in self._sockets if client.device)

    async def drop(self, device: str) -> None:
        """Close every channel of a revoked device."""
        for client, socket in tuple(self._sockets.items()):
            if device and client.device == device:
                await socket.close(_REVOKED)

    async def close(self) -> None:
        """Close every channel; browsers reconnect automatically."""
        for socket in tuple(self._sockets.values()):
            try:
                await asyncio.wait_for(socket.close(_GOING_AWAY), 0.2)
            except (RuntimeError, TimeoutError):
                continue  # gone already, or deaf

    def _acknowledge(self, client: _Client, text: str) -> None:
        if len(text) > _LONGEST_ACK:
            raise ValueError("too long for an acknowledgement")
        message = json_value(text)
        was_full, is_first = client.is_full, client.stamp is None
        client.seen = max(client.seen, min(int(message["seen"]), client.sent))
        client.stamp = float(message["stamp"])
        client.stamped_s = time.monotonic()
        # Not at every acknowledgement: the two would send to each other as fast as the link allows.
        if is_first or (was_full and not client.is_full):
            client.wake.set()

    async def _send(self, socket: WebSocket, client: _Client) -> None:
        while True:
            # With nothing new a beat goes out, so that the page knows that it is not behind.
            with suppress(TimeoutError):
                await asyncio.wait_for(client.wake.wait(), BEAT_S)
            client.wake.clear()
            if client.is_full or client.stamp is None:
                continue
            values, client.waiting = client.waiting, {}
            client.sent += 1
            held_ms = 1000.0 * (time.monotonic() - client.stamped_s)
            message = {
                "n": client.sent,
                "run": self.run,
                "echo": client.stamp,
                "held": round(held_ms, 1),
                "values": values,
            }
            try:
                await socket.send_text(json.dumps(message, allow_nan=False))
            except (RuntimeError, WebSocketDisconnect):
                return
