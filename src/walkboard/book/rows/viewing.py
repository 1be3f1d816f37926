"""One view of a book on a server for all that one request reads.

A separate read costs three round trips: begin, ask, end. Within a view they share one
transaction, and only the questions remain.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from time import monotonic
from typing import TypeVar

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

Row = TypeVar("Row")

_HELD = "held"
LONGEST_S = 1.0  # then what is read next is of a newer moment. Chosen.


class View:
    """A read transaction that begins with the first question.

    Threads may share it; they take turns.

    Parameters
    ----------
    engine : Engine
        Its transactions see one moment each.
    """

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self._lock = threading.RLock()
        self._connection: Connection | None = None
        self._session: Session | None = None
        self._begun_s = 0.0
        self._users = 0
        self._change: int | None = None
        self._is_closed = False

    @contextmanager
    def session(self) -> Iterator[Session]:
        """The session that reads as of the view's moment; it keeps what `held` puts in it."""
        with self.connection() as connection:
            if self._session is None:
                self._session = Session(connection, info={_HELD: {}})
            yield self._session

    @contextmanager
    def connection(self) -> Iterator[Connection]:
        """The connection with its transaction."""
        with self._lock:
            if self._users == 0 and monotonic() - self._begun_s > LONGEST_S:
                self._end()
            if self._connection is None:
                self._connection = self.engine.connect()
                self._connection.begin()
                self._begun_s = monotonic()
            self._users += 1
            is_well = False
            try:
                yield self._connection
                is_well = True
            finally:
                self._users -= 1
                if self._users == 0 and (self._is_closed or not is_well):
                    self._end()

    def change(self, look: Callable[[Connection], int]) -> int:
        """The number of the book's newest change, looked up once for the view."""
        with self.connection() as connection:
            if self._change is None:
                self._change = look(connection)
            return self._change

    def renew(self) -> None:
        """End it; what is read next is of a newer moment. Called around a write."""
        with self._lock:
            if self._users == 0:
                self._end()

    def close(self) -> None:
        """End it, or let the thread that still reads do so."""
        self._is_closed = True
        if self._lock.acquire(blocking=False):
            try:
                if self._users == 0:
                    self._end()
            finally:
                self._lock.release()

    @property
    def is_open(self) -> bool:
        """Whether it may still be used: work that outlives a request has no view."""
        return not self._is_closed

    def _end(self) -> None:
        connection, self._connection, self._change = self._connection, None, None
        session, self._session = self._session, None
        if session is not None:
            session.expunge_all()  # without asking anything; the connection ends what it began
        if connection is not None:
            with suppress(DBAPIError):  # it only read; a dead line has ended it already
                connection.close()


def held(session: Session, key: Hashable, ask: Callable[[], Row]) -> Row:
    """A row that many questions look up first: asked for once in a view, whose moment stays.

    Parameters
    ----------
    session : Session
    key : hashable
    ask : callable
        Looks it up; called each time in a session that is not a view's.
    """
    known: dict[Hashable, Row] | None = session.info.get(_HELD)
    if known is None:
        return ask()
    if key not in known:
        known[key] = ask()
    return known[key]


_view: ContextVar[View | None] = ContextVar("view", default=None)


def current_view(engine: Engine) -> View | None:
    """The open view of an engine's book, if this code runs within one."""
    view = _view.get()
    return view if view is not None and view.engine is engine and view.is_open else None


@contextmanager
def within(view: View) -> Iterator[None]:
    """Let all that is read inside, also by threads started with this context, share a view."""
    token = _view.set(view)
    try:
        yield
    finally:
        _view.reset(token)
        view.close()
