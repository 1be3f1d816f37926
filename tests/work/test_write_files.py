"""Files appear whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from walkboard.errors import InputError
from walkboard.work.write_files import write_file, writing


def write_half(to: Path, error: BaseException) -> None:
    with writing(to, what="sheet") as stream:
        stream.write(b"half")
        raise error


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    to = tmp_path / "sheet.pdf"
    to.write_bytes(b"old")
    assert write_file(b"new", to, what="sheet") == to
    assert to.read_bytes() == b"new"
    assert list(tmp_path.iterdir()) == [to]


def test_an_older_file_stays_when_writing_fails_halfway(tmp_path: Path) -> None:
    to = tmp_path / "sheet.pdf"
    to.write_bytes(b"old")
    full = OSError(28, "No space left on device")
    with pytest.raises(InputError, match="The sheet cannot be written: No space left") as refused:
        write_half(to, full)
    assert refused.value.where == str(to)
    assert to.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [to]


def test_nothing_is_left_of_a_file_that_was_interrupted(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt):
        write_half(tmp_path / "sheet.pdf", KeyboardInterrupt())
    assert list(tmp_path.iterdir()) == []


def test_a_device_is_written_as_it_is() -> None:
    assert write_file(b"x", Path("/dev/null"), what="sheet").is_char_device()


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="No such file or directory"):
        write_file(b"x", tmp_path / "none" / "sheet.pdf", what="sheet")
