"""The outbox: what the disk refuses now is sent again later; what can never be kept is not."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from walkboard.book.folder import DATABASE
from walkboard.book.seen import SeenBook, open_seen
from walkboard.desk.frame.setting import Setting
from walkboard.desk.server import application
from walkboard.desk.server.outbox import Outbox, Outcome
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
    other = sqlite3.connect(folder / DATABASE, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")  # as a backup or another program would
    try:
        busy = keep(tick())
    finally:
        other.execute("ROLLBACK")
        other.close()
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
