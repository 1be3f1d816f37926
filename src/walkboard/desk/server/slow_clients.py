"""Clients that open connections and send nothing, or slowly, must not hold up others.

uvicorn closes a connection that idles between two requests, but waits for ever for the head of a
request. Here the head has a time limit, and each address a limited number of connections: its
oldest idle one gives way to a new one, so a stranger who floods the desk only closes their own, and
a browser at the desk always gets in.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol


@dataclass(frozen=True, slots=True)
class Limits:
    """What one client may take up.

    Attributes
    ----------
    head_s : float
        For the head of a request to come in whole [s]; chosen: a browser needs milliseconds, a
        phone at the edge of the network a few seconds.
    from_one : int
        Connections of one address; chosen: a browser holds at most six and a live channel for each
        page, and a process may often have only 256 files open.
    """

    head_s: float = 10.0
    from_one: int = 48


def protocol(limits: Limits | None = None) -> type[H11Protocol]:
    """Uvicorn's protocol of HTTP/1.1 with these limits."""
    given = Limits() if limits is None else limits
    from_address: dict[str, list[Limited]] = {}

    class Limited(H11Protocol):
        """A connection that does not wait for ever."""

        _timer: asyncio.TimerHandle | None = None
        _address = ""

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
            super().connection_made(transport)
            self._address = "" if self.client is None else self.client[0]
            mine = from_address.setdefault(self._address, [])
            mine.append(self)
            self._await_head()
            if len(mine) > given.from_one:
                oldest = next((one for one in mine if one.is_silent), self)
                # Now, not in connection_lost: that comes later, and many may come at once.
                oldest.leave()
                oldest.transport.abort()

        @property
        def is_silent(self) -> bool:
            """Whether it is waiting: no request yet, or no further one."""
            return bool(self.conn.their_state is h11.IDLE)

        def data_received(self, data: bytes) -> None:
            if self._timer is None and self.is_silent:
                self._await_head()
            super().data_received(data)

        def handle_events(self) -> None:
            super().handle_events()
            if not self.is_silent:
                self._stop_waiting()

        def handle_websocket_upgrade(self, event: Any) -> None:
            self.leave()  # only paired devices keep a live channel
            super().handle_websocket_upgrade(event)

        def connection_lost(self, exc: Exception | None) -> None:
            self.leave()
            super().connection_lost(exc)

        def _await_head(self) -> None:
            self._stop_waiting()
            self._timer = self.loop.call_later(given.head_s, self._too_slow)

        def _stop_waiting(self) -> None:
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None

        def _too_slow(self) -> None:
            self._timer = None
            self.transport.abort()

        def leave(self) -> None:
            """Stop counting it for its address."""
            self._stop_waiting()
            mine = from_address.get(self._address, [])
            if self in mine:
                mine.remove(self)
            if not mine:
                from_address.pop(self._address, None)

    return Limited
