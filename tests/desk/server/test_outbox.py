"""The outbox: what the disk refuses now is sent again later; what can never be kept is not."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from sqlalchemy.exc import OperationalError
from starlette.testclient import TestClient

from tests.book.another_writer import another_writer
from walkboard.book.cache.seen import SeenBook, open_seen
from walkboard.desk.frame.access import Visitor
from walkboard.desk.frame.page import Keeper
from walkboard.desk.frame.permissions import Grant, Permission
from walkboard.desk.frame.setting import Setting
from walkboard.desk.server import application
from walkboard.desk.server.outbox import Outbox, Outcome
from walkboard.errors import BookError, InputError
from walkboard.work.snapshot import opened_to_see

Keep = Callable[[Setting], Outcome]


@pytest.fixture
def desk(
    village_book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[Keep, Path]]:
    folder = shutil.copytree(village_book, tmp_path / "book")

    def opened(path: Path) -> SeenBook:
        return open_seen(path, clock=lambda: datetime.now(UTC), wait_s=0.05)  # usually seconds

    monkeypatch.setattr(application, "opened_to_see", opened)
    made = application.make_application(folder)

    def keep(setting: Setting) -> Outcome:
        outbox: Outbox = made.state.outbox
        return outbox.keep(made.state.desk, setting, "Phone")

    yield keep, folder
    made.state.desk.book.close()


def ticked(folder: Path) -> list[str]:
    with opened_to_see(folder) as book:
        return [str(t.pipe) for t in book.ticks(3) if t.device == "Phone"]


def tick(uid: str = "a-tick-of-a-test", pipe: str = "great.open8:3", **more: object) -> Setting:
    body = {"visit": 3, "pipe": pipe, "state": "done", **more}
    return Setting(uid=uid, kind="tick", at=datetime.now(UTC), body=body)


def test_a_tick_that_a_busy_disk_refuses_is_sent_again_and_then_kept(
    desk: tuple[Keep, Path],
) -> None:
    keep, folder = desk
    with another_writer(folder):
        busy = keep(tick())
    assert busy.state == "later"
    assert keep(tick()).state == "kept"
    assert ticked(folder) == ["great.open8:3"]


@pytest.mark.parametrize(
    ("setting", "why"),
    [
        (tick(pipe="great.open8:99"), "There is no pipe"),
        (tick(pipe="great.nothing8:1"), "great.nothing8"),
        (tick(state="mislaid"), "cannot be read"),
        (
            Setting(uid="of-no-page", kind="mislaid", at=datetime.now(UTC), body={}),
            "older than the desk",
        ),
    ],
)
def test_what_can_never_be_kept_is_refused_for_good(
    desk: tuple[Keep, Path], setting: Setting, why: str
) -> None:
    found = desk[0](setting)
    assert found.state == "refused"
    assert why in found.why


def test_the_same_setting_twice_is_kept_once(desk: tuple[Keep, Path]) -> None:
    keep, folder = desk
    setting = tick()
    assert [keep(setting).state for _ in range(2)] == ["kept", "kept"]
    assert len(ticked(folder)) == 1


def outcome_of(error: Exception | None) -> Outcome:
    """What a browser is answered when keeping its setting ends in this error."""

    def keeper(*_: object) -> None:
        if error is not None:
            raise error

    return Outbox({"tick": Keeper(keeper, Permission.TICK)}).keep(None, tick(), "Phone")  # type: ignore[arg-type]


def because(cause: Exception | None) -> BookError:
    error = BookError("The book cannot be written.")
    error.__cause__ = cause
    return error


@pytest.mark.parametrize(
    ("error", "state"),
    [
        (None, "kept"),
        (because(sqlite3.OperationalError("database is locked")), "later"),
        (because(OperationalError("INSERT", {}, sqlite3.OperationalError("disk I/O"))), "later"),
        (because(OSError(28, "No space left on device")), "later"),
        (because(None), "refused"),  # the visit is closed: it will be closed tomorrow
        (because(ValueError("no such state")), "refused"),
        (InputError("The Tuner has done pipe 3 meanwhile."), "refused"),
        (ValueError("not a pipe"), "refused"),
    ],
)
def test_only_what_may_pass_is_sent_again(error: Exception | None, state: str) -> None:
    found = outcome_of(error)
    assert found.state == state
    assert (found.why == "") is (state == "kept")


def test_a_programs_own_mistake_is_not_hidden() -> None:
    with pytest.raises(ZeroDivisionError):
        outcome_of(ZeroDivisionError())


def test_a_time_without_a_zone_is_taken_as_utc() -> None:
    kept: list[Setting] = []
    keeper = Keeper(lambda _, setting, __: kept.append(setting), Permission.TICK)
    box = Outbox({"tick": keeper})
    noon = datetime(2031, 3, 1, 12, 0)  # noqa: DTZ001
    for at in (noon, noon.replace(tzinfo=timezone(timedelta(hours=2)))):
        box.keep(None, tick().model_copy(update={"at": at}), "")  # type: ignore[arg-type]
    assert [setting.at.utcoffset() for setting in kept] == [timedelta(0), timedelta(hours=2)]


@pytest.mark.parametrize(
    ("body", "is_permitted"),
    [
        ({"visit": 3}, True),
        ({"visit": 4}, False),
        ({"visit": 3, "fault": 8}, False),  # the visit is theirs, the fault is not
        ({"visit": 4, "fault": 7}, False),
        ({"visit": 3, "fault": 7}, True),
        ({}, False),  # no organ is named, so it might be any
        ({"visit": 99}, False),
    ],
)
def test_whoever_may_on_one_organ_may_set_only_what_names_that_one(
    body: dict[str, object], is_permitted: bool
) -> None:
    """Visit 3 and fault 7 are of organ 1, visit 4 and fault 8 of organ 2."""

    def find(organs: dict[int, int]) -> Callable[[int], SimpleNamespace]:
        def found(number: int) -> SimpleNamespace:
            if number not in organs:
                raise BookError("There is none.")
            return SimpleNamespace(organ_id=organs[number])

        return found

    book = SimpleNamespace(visit=find({3: 1, 4: 2}), fault=find({7: 1, 8: 2}))
    desk: Any = SimpleNamespace(book=book)
    box = Outbox({"tick": Keeper(lambda *_: None, Permission.TICK)})
    setting = tick().model_copy(update={"body": body})
    tuner = Visitor((Grant(frozenset({Permission.TICK}), 1),))
    assert box.is_permitted(desk, setting, tuner) is is_permitted
    assert box.is_permitted(desk, setting, Visitor((Grant(frozenset({Permission.TICK}), None),)))


def sent(desk: tuple[Keep, Path], body: object) -> tuple[int, dict[str, object]]:
    """Status and answer of the outbox's door, called at the desk itself."""
    made = application.make_application(desk[1])
    with TestClient(
        made, base_url="http://127.0.0.1:8000", headers={"origin": "http://127.0.0.1:8000"},
        client=("127.0.0.1", 5000),
    ) as client:  # fmt: skip
        answer = client.post("/outbox", content=body if isinstance(body, str) else json.dumps(body))
    made.state.desk.book.close()
    return answer.status_code, answer.json()


def test_each_setting_sent_is_answered_by_its_own_id(desk: tuple[Keep, Path]) -> None:
    settings = [tick("one-good-tick-1"), tick("one-bad-tick-22", pipe="great.open8:99")]
    body = {"settings": [json.loads(s.model_dump_json()) for s in settings]}
    status, answer = sent(desk, body)
    assert status == 200
    outcomes = answer["outcomes"]
    assert isinstance(outcomes, dict)
    assert {uid: found["state"] for uid, found in outcomes.items()} == {
        "one-good-tick-1": "kept",
        "one-bad-tick-22": "refused",
    }
    assert outcomes["one-good-tick-1"]["why"] == ""


@pytest.mark.parametrize("body", ["{", {"settings": "none"}, {"sent": []}])
def test_what_is_no_outbox_is_refused(desk: tuple[Keep, Path], body: object) -> None:
    status, answer = sent(desk, body)
    assert status == 400
    assert answer["trouble"]


@pytest.mark.parametrize(("count", "status"), [(500, 200), (501, 400)])
def test_a_phone_long_away_sends_five_hundred_at_a_time(
    desk: tuple[Keep, Path], count: int, status: int
) -> None:
    one = json.loads(tick(pipe="great.open8:99").model_dump_json())
    body = {"settings": [{**one, "uid": f"setting-of-a-test-{n}"} for n in range(count)]}
    assert sent(desk, body)[0] == status
