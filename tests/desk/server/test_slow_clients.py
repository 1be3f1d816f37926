"""A stranger who opens connections and says nothing holds up nobody."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import pytest
import uvicorn
from starlette.responses import PlainTextResponse

from walkboard.desk.server.network import bound
from walkboard.desk.server.slow_clients import Limits, protocol

LIMITS = Limits(head_s=0.5, from_one=8)
ASKING = b"GET / HTTP/1.1\r\nHost: a\r\n"


@pytest.fixture(scope="module")
def address() -> Iterator[tuple[str, int]]:
    with served(LIMITS) as at:
        yield at


@contextmanager
def served(limits: Limits) -> Iterator[tuple[str, int]]:
    listening = bound("127.0.0.1", 0)
    config = uvicorn.Config(
        PlainTextResponse("here"), http=protocol(limits), lifespan="off", log_level="error"
    )
    server = uvicorn.Server(config)
    running = threading.Thread(target=server.run, args=([listening],))
    running.start()
    yield listening.getsockname()[:2]
    server.should_exit = True
    running.join(20.0)


def opened(address: tuple[str, int], said: bytes = b"") -> socket.socket:
    made = socket.create_connection(address, timeout=5.0)
    made.sendall(said)
    return made


def answered(one: socket.socket) -> bool:
    got = b""
    while b"here" not in got:
        more = one.recv(1000)
        if not more:
            return False
        got += more
    return True


def is_closed(one: socket.socket) -> bool:
    try:
        return one.recv(100) == b""
    except ConnectionResetError:
        return True


def test_the_head_of_a_request_has_a_time_limit(address: tuple[str, int]) -> None:
    with opened(address, ASKING) as silent, opened(address, ASKING) as dripping:
        dripping.sendall(b"X-Slow: a")
        assert is_closed(silent)
        assert is_closed(dripping)


def test_after_an_answer_the_next_head_has_one_too(address: tuple[str, int]) -> None:
    with opened(address, ASKING + b"\r\n") as one:
        assert answered(one)
        one.sendall(ASKING)
        assert is_closed(one)


def test_many_silent_ones_do_not_keep_a_browser_out() -> None:
    # The head has long, so that only the cap closes any.
    with served(Limits(head_s=60.0, from_one=8)) as at, ExitStack() as stack:
        silent = [stack.enter_context(opened(at)) for _ in range(3 * 8)]
        with opened(at, ASKING + b"\r\n") as browser:
            assert answered(browser)
        assert all(map(is_closed, silent[:8]))  # the oldest go
