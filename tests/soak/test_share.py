"""A share of the soak, and every case that ever failed, read again."""

from __future__ import annotations

import os
from functools import partial
from pathlib import Path
from random import Random

import pytest

from tests.soak.inputs import KINDS, Kind, fuzz
from tests.soak.kill_merges import kill_merges
from tests.soak.kills import failing_disk, kill, kill_builders, missing, new_book, now, ticks
from tests.soak.lost_links import lose_links
from tests.soak.tally import CASES, HungError, Tally
from walkboard.book import open_book
from walkboard.errors import InputError

posix = pytest.mark.skipif(os.name != "posix", reason="forks and kills processes")


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_odd_files_are_read_or_clearly_refused(kind: Kind, tmp_path: Path) -> None:
    tally = fuzz(kind, Random(2031), 12, tmp_path)
    assert tally.is_clean, tally.notes


def test_a_case_that_failed_once_is_clear_now(tmp_path: Path) -> None:
    kinds = {kind.name.replace(" ", "-"): kind for kind in KINDS}
    for case in sorted(CASES.glob("[!.]*")):
        kind, data = kinds[case.name.partition(".")[0]], case.read_bytes()
        tally = Tally(kind.name)
        tally.attempt(partial(kind.read, data, tmp_path), case.name)
        assert tally.is_clean, tally.notes


@posix
@pytest.mark.parametrize(
    ("part", "count"),
    [
        (kill, 8),
        (kill_builders, 4),
        (kill_merges, 3),
        (ticks, 40),
        (failing_disk, 25),
        (lose_links, 20),
    ],
)
def test_nothing_reported_as_kept_is_lost(part, count: int, tmp_path: Path) -> None:
    tally = part(Random(7), count, tmp_path)
    assert tally.tried >= count
    assert tally.is_clean, tally.notes


def test_the_soak_sees_what_is_lost(tmp_path: Path) -> None:
    with open_book(new_book(tmp_path / "book"), clock=now) as book:
        book.add_note(1, "kept")
        said = ["note kept", "note gone", "tick gone", "plan gone", "copy gone", "relabelled gone"]
        assert missing(book, said, tmp_path) == [
            "note gone", "tick gone", "copy gone", "relabelled gone", "1 plans",
        ]  # fmt: skip


def test_the_soak_sees_what_hangs_and_what_is_unclear(monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setattr("tests.soak.tally.CASES", tmp_path / "cases")
    monkeypatch.setattr("tests.soak.tally.LONGEST_S", 0.05)
    tally = Tally("a kind")

    def hangs() -> None:
        while True:
            pass

    def refuses() -> None:
        raise InputError("Not a file of this kind.")

    def says_nothing() -> None:
        raise InputError("")

    assert not tally.attempt(hangs, "one", b"hangs")
    assert not tally.attempt(lambda: 1 // 0, "two", b"unclear")
    assert not tally.attempt(says_nothing, "three")
    assert not tally.attempt(refuses, "four", b"refused")
    assert tally.attempt(lambda: None, "five", b"done")
    assert (tally.tried, tally.lost, tally.hung, tally.unclear) == (5, 0, 1, 2)
    kept = {path.read_bytes() for path in (tmp_path / "cases").iterdir()}
    assert kept == {b"hangs", b"unclear"}
    assert issubclass(HungError, Exception)
