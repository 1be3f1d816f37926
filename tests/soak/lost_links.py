"""A phone that loses its link at any step: nothing reported as stored is lost or stored twice."""

from __future__ import annotations

import asyncio
import json
from collections import Counter
from collections.abc import AsyncIterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from random import Random
from typing import Any

from starlette.testclient import TestClient

from tests.soak.kills import now
from tests.soak.tally import Tally
from walkboard.book import create_book
from walkboard.desk.background.upload_queue import coming_in, put_away, take, waiting
from walkboard.desk.server import application
from walkboard.errors import InputError
from walkboard.organ import examples

_MOST_SENT = 5  # settings in one request of the phone
_RECORDING = bytes(range(256)) * 64


def lose_links(random: Random, count: int, folder: Path) -> Tally:
    """Ticks and recordings sent over a link that breaks, so many times.

    The link breaks before a request, within it, or before its answer; the phone sends again what
    was not answered, in another order and with more.
    """
    tally = Tally("a phone that loses its link")
    with create_book(folder / "book", clock=now) as book:
        book.open_visit(book.add_organ("Village", examples.village()).id, "spring")
    made = application.make_application(folder / "book")
    answered: set[str] = set()
    waits: dict[str, dict[str, Any]] = {}
    with TestClient(
        made, base_url="http://127.0.0.1:8000", headers={"origin": "http://127.0.0.1:8000"},
        client=("127.0.0.1", 5000),
    ) as client:  # fmt: skip
        for n in range(count):
            tally.tried += 1
            uid = f"tick-of-a-phone-{n:06}"
            waits[uid] = {
                "uid": uid,
                "kind": "tick",
                "at": now().isoformat(),
                "body": {
                    "visit": 1,
                    "pipe": f"great.open8:{random.randrange(1, 20)}",
                    "state": random.choice(["done", "open", "skipped"]),
                },
            }
            sent = random.sample(list(waits), min(len(waits), random.randrange(1, _MOST_SENT)))
            answered |= _send(client, random, [waits[one] for one in sent], tally)
            waits = {one: waits[one] for one in waits if one not in answered}
            if n % 10 == 9:
                _upload(random, folder / "book", n, tally)
        while waits:  # the link is back
            left = list(waits.values())[:_MOST_SENT]
            found = _send(client, None, left, tally)
            if not found:
                tally.lose(f"what is never answered: {[one['uid'] for one in left]}")
                break
            answered |= found
            waits = {one: waits[one] for one in waits if one not in answered}
        kept = Counter(tick.uid for tick in made.state.desk.book.ticks(1))
    made.state.desk.book.close()
    for uid in answered:
        if kept[uid] != 1:
            tally.lose(f"{uid}, which is in the book {kept[uid]} times")
    return tally


def _send(
    client: TestClient, random: Random | None, settings: list[dict[str, Any]], tally: Tally
) -> set[str]:
    """The settings that the phone hears are kept."""
    body = json.dumps({"settings": settings})
    breaks = random.randrange(4) if random is not None else 3
    if breaks == 0:  # before anything arrives
        return set()
    if random is not None and breaks == 1:  # within the request
        body = body[: random.randrange(len(body))]
    answer = client.post("/outbox", content=body)
    if breaks == 1 and answer.status_code != 400:
        tally.lose(f"half a request was answered with {answer.status_code}")
    if breaks in {1, 2}:  # before the answer
        return set()
    outcomes = answer.json()["outcomes"]
    return {uid for uid, outcome in outcomes.items() if outcome["state"] == "kept"}


def _upload(random: Random, book: Path, n: int, tally: Tally) -> None:
    """A recording that may break off; it waits whole, or not at all."""
    breaks = random.randrange(len(_RECORDING) - 1000) if random.random() < 0.5 else None

    async def stream() -> AsyncIterator[bytes]:
        for at in range(0, len(_RECORDING), 1000):
            if breaks is not None and at > breaks:
                raise ConnectionResetError
            yield _RECORDING[at : at + 1000]

    coming = coming_in(book, 1, f"walk-{n}.flac", drawn=(), air_celsius=None)
    try:
        # In a thread of its own: a browser of other tests may have left its loop in this one.
        with ThreadPoolExecutor(1) as thread:
            thread.submit(lambda: asyncio.run(take(coming, stream()))).result()
        is_in = True
    except InputError:
        is_in = False
    found = [one for one in waiting(book, 1) if one.name == coming.name]
    whole = [one for one in found if one.path.read_bytes() == _RECORDING]
    if len(found) != is_in or len(whole) != is_in or is_in is (breaks is not None):
        tally.lose(f"recording {n}: {len(found)} wait, {len(whole)} of them whole")
    for one in found:
        put_away(one)
