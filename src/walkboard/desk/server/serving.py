"""Starts the server of a desk and tells its address once it listens."""

from __future__ import annotations

import asyncio
import errno
import logging
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

import uvicorn
from starlette.applications import Starlette
from starlette.types import ASGIApp
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from walkboard.desk.server.doorway import Doorway
from walkboard.desk.server.network import bound
from walkboard.desk.server.slow_clients import Limits, protocol
from walkboard.errors import InputError

if TYPE_CHECKING:
    from walkboard.desk.frame.origin import Origin
    from walkboard.desk.server.certificate import Certificate
    from walkboard.work.people.openid import Provider

HOME = "127.0.0.1"
USUAL_PORT = 8740
_PORTS_TRIED = 20
_OF_A_PROXY = 2000  # connections; chosen: more than a proxy opens by default (nginx: 512 a worker)


def serve(
    folder: Path,
    *,
    port: int | None = None,
    shared_address: str | None = None,
    certificate: Certificate | None = None,
    origin: Origin | None = None,
    provider: Provider | None = None,
    tell: Callable[[str, str | None], None],
) -> None:
    """Serve a book until interrupted.

    Parameters
    ----------
    folder : Path
        The book's.
    port : int or None
        None takes the usual one, or the next that is free.
    shared_address : str or None
        An address of this machine on the local network.
    certificate : Certificate or None
        To encrypt with what goes to the shared address; None sends it plain.
    origin : Origin or None
        Where people reach it through a proxy on this machine, and sign in; not with
        `shared_address`.
    provider : Provider or None
        The firm's identity provider, with `origin`.
    tell : callable
        Called with the address of the desk, and that for phones if it is shared.

    Raises
    ------
    BookError
        When the book cannot be used.
    InputError
        When the port is taken.
    """
    servers: list[uvicorn.Server] = []

    def load() -> Starlette:
        # Here, in the doorway's thread: what it loads takes longer than a first page should.
        from walkboard.desk.server.application import make_application  # noqa: PLC0415

        signing_in = None
        if origin is not None:
            from walkboard.desk.frame.signing_in import SigningIn  # noqa: PLC0415 - as above

            signing_in = SigningIn.at(origin, provider)
        return make_application(
            folder,
            shared_address=shared_address,
            fingerprint="" if certificate is None else certificate.fingerprint,
            authority=b"" if certificate is None else certificate.authority,
            signing_in=signing_in,
        )

    def failed() -> None:
        servers[0].should_exit = True

    doorway = Doorway(folder, shared_address, load, failed, origin)
    sockets = _sockets(port, shared_address)
    try:
        number = sockets[0].getsockname()[1]
        scheme = "http" if certificate is None else "https"
        shared = None if shared_address is None else f"{scheme}://{shared_address}:{number}/"
        if origin is None:
            servers.append(uvicorn.Server(_config(doorway, lifespan="on")))
        else:
            servers.append(uvicorn.Server(behind_proxy(doorway)))
        tell(f"http://{HOME}:{number}/", shared)
        if certificate is None:
            servers[0].run(sockets)
        else:
            # This machine reaches itself plain, as ever: no browser asks for more there.
            servers.append(_Beside(_config(doorway, lifespan="off", certificate=certificate)))
            asyncio.run(_both(servers[0], servers[1], sockets))
        if doorway.trouble is not None:
            raise doorway.trouble
    finally:
        for listening in sockets:
            listening.close()


class _Beside(uvicorn.Server):
    """A server that ends with another one, which hears the signals."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave them to the other."""
        yield


async def _both(home: uvicorn.Server, shared: uvicorn.Server, sockets: list[socket.socket]) -> None:
    beside = asyncio.create_task(shared.serve(sockets[1:]))
    try:
        await home.serve(sockets[:1])
    finally:
        shared.should_exit = True
        await beside


def behind_proxy(application: ASGIApp) -> uvicorn.Config:
    """Settings of a server that only a proxy on this machine asks.

    The proxy says from where a request came: the last of X-Forwarded-For that is not this machine.
    All connections are the proxy's, which limits clients itself.
    """
    # Uvicorn and Starlette write the same ASGI with types of their own.
    forwarded = ProxyHeadersMiddleware(application, trusted_hosts=[HOME, "::1"])  # type: ignore[arg-type]
    limits = Limits(from_one=_OF_A_PROXY)
    return _config(cast(ASGIApp, forwarded), lifespan="on", http=protocol(limits))


def _config(
    doorway: ASGIApp,
    *,
    lifespan: Literal["on", "off"],
    certificate: Certificate | None = None,
    http: type[asyncio.Protocol] | None = None,
) -> uvicorn.Config:
    return uvicorn.Config(
        doorway,
        log_level=logging.WARNING,
        access_log=False,
        server_header=False,
        proxy_headers=False,  # nobody may say on another's behalf where a request comes from
        http=protocol() if http is None else http,
        ws="websockets-sansio",
        ws_max_size=4096,  # acknowledgements only
        lifespan=lifespan,
        timeout_graceful_shutdown=1,
        ssl_certfile=None if certificate is None else certificate.file,
    )


def _sockets(port: int | None, shared_address: str | None) -> list[socket.socket]:
    """One socket at home, one at the shared address, of the same port."""
    tried = [port] if port is not None else list(range(USUAL_PORT, USUAL_PORT + _PORTS_TRIED))
    addresses = [HOME] if shared_address is None else [HOME, shared_address]
    for number in tried:
        made: list[socket.socket] = []
        try:
            for address in addresses:
                made.append(bound(address, made[0].getsockname()[1] if made else number))
        except OSError as error:
            for listening in made:
                listening.close()
            if error.errno not in {errno.EADDRINUSE, errno.EACCES}:
                raise
        else:
            return made
    raise InputError(
        f"Port {tried[0]} is taken by another program.",
        fix="Name another with --port, or stop the other desk.",
    )
