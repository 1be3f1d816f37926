"""Recordings that a phone sends: stored, or clearly refused."""

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from walkboard.desk.background.upload_queue import FOLDER, coming_in, put_away, take, waiting
from walkboard.errors import InputError


async def _sent(*pieces: bytes) -> AsyncIterator[bytes]:
    for piece in pieces:
        yield piece


def test_what_was_sent_waits_and_is_put_away(tmp_path: Path) -> None:
    coming = coming_in(tmp_path, 1, "walk.flac", drawn=("great.principal8",), air_celsius=17.0)
    asyncio.run(take(coming, _sent(b"fLaC", b"and more")))
    (found,) = waiting(tmp_path, 1)
    assert (found.name, found.drawn, found.path.read_bytes()) == (
        "walk.flac", ("great.principal8",), b"fLaCand more",
    )  # fmt: skip
    assert waiting(tmp_path, 2) == ()
    put_away(found)
    assert waiting(tmp_path, 1) == ()


def test_nothing_is_stored_where_the_book_was(tmp_path: Path) -> None:
    gone = tmp_path / "hall"
    coming = coming_in(gone, 1, "walk.flac", drawn=(), air_celsius=None)
    with pytest.raises(InputError, match="cannot be kept"):
        asyncio.run(take(coming, _sent(b"fLaC")))
    assert not gone.exists()


def test_a_book_that_moves_while_a_recording_arrives(tmp_path: Path) -> None:
    (tmp_path / "hall").mkdir()
    coming = coming_in(tmp_path / "hall", 1, "walk.flac", drawn=(), air_celsius=None)

    async def moving() -> AsyncIterator[bytes]:
        yield b"fLaC"
        (tmp_path / "hall").rename(tmp_path / "elsewhere")
        yield b"the rest"

    with pytest.raises(InputError, match=r"cannot be (kept|written)"):
        asyncio.run(take(coming, moving()))
    assert not (tmp_path / "hall").exists()


@pytest.mark.parametrize("label", [b"", b"\xff\xfe", b"[" * 100_000, b'{"visit": "one"}'])
def test_a_damaged_label_hides_no_other_recording(tmp_path: Path, label: bytes) -> None:
    coming = coming_in(tmp_path, 1, "walk.flac", drawn=(), air_celsius=None)
    asyncio.run(take(coming, _sent(b"fLaC")))
    bad = tmp_path / FOLDER / "bad"
    bad.mkdir()
    (bad / "walk.json").write_bytes(label)
    assert [one.id for one in waiting(tmp_path, 1)] == [coming.id]
