"""A desk for tests, with a clock to follow."""

from __future__ import annotations

import json
import threading
import time
from multiprocessing.connection import Connection
from pathlib import Path

import uvicorn
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from walkboard.desk.frame.desk import Desk
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.pages import PAGES
from walkboard.desk.server.application import make_application
from walkboard.desk.server.network import bound
from walkboard.desk.text.catalogue import script_words

FOR_PHONES = "127.0.0.2"  # an address of every Linux machine that is not the desk's own
TOPIC = "clock"
A_SECOND = 20  # how often the clock tells the time

_CLOCK = """<!doctype html><html lang="en" data-link="new"><head><title>Clock</title>
<script type="application/json" id="words">{words}</script>
<script type="module" src="/static/frame.js"></script></head>
<body data-topics="clock" data-change="{change}"><main id="content"><div id="part" data-live></div>
<p><span id="link-words"></span><span id="link-age"></span><span id="unsent"></span>
<a id="pair-again" href="/pair" hidden>pair</a></p>
<p id="refused" hidden></p></main></body></html>"""


def clock(_: Request) -> Response:
    """A page with nothing on it that follows the clock."""
    return HTMLResponse(_CLOCK.format(words=json.dumps(script_words("frame")), change="x"))


async def tell(request: Request) -> Response:
    """Publish to a topic what a test says, as live listening would."""
    answer = await request.json()
    desk: Desk = request.app.state.desk
    desk.hub.tell(answer["topic"], answer["value"])
    return Response(status_code=204)


def tell_the_time(desk: Desk) -> None:
    number = 0
    while True:
        number += 1
        desk.hub.tell(TOPIC, {"at": 1000.0 * time.time(), "number": number})
        time.sleep(1.0 / A_SECOND)


def serve(book: Path, port: int, answer: Connection, is_shared: bool) -> None:
    """Serve a book; its port is sent once it listens."""
    doors = (
        Door("/clock", clock, Permission.ENTER),
        Door("/tell", tell, Permission.ENTER, ("POST",)),
    )
    application = make_application(
        book,
        shared_address=FOR_PHONES if is_shared else None,
        pages=(*PAGES, Page("clock", doors)),
    )
    threading.Thread(target=tell_the_time, args=(application.state.desk,), daemon=True).start()
    listening = [bound("127.0.0.1", port)]
    listening.append(bound(FOR_PHONES, listening[0].getsockname()[1]))
    config = uvicorn.Config(
        application,
        log_level="warning",
        access_log=False,
        proxy_headers=False,
        ws="websockets-sansio",
        ws_max_size=4096,
        timeout_graceful_shutdown=1,
    )
    answer.send(listening[0].getsockname()[1])
    answer.close()
    uvicorn.Server(config).run(listening)
