"""Kills of programs that bring a copy of a book back."""

from __future__ import annotations

import os
import shutil
import signal
import time
from pathlib import Path
from random import Random

from tests.book.making import DESCRIPTION, a_hold, a_plan, a_walk
from tests.book.merging.copies import contents
from tests.soak.kills import HARMLESS, now
from tests.soak.tally import Tally
from walkboard.book import create_book, open_book

ORGANS = ("Harbour Hall", "Mill Chapel", "School")


def kill_merges(random: Random, count: int, folder: Path) -> Tally:
    """Kill a merge at a random moment; every organ is whole or untouched, and again brings all."""
    tally = Tally("kills of bring-back")
    home, away, whole = (folder / name for name in ("home", "away", "whole"))
    _two_copies(home, away)
    begun_s = time.monotonic()
    shutil.copytree(home, whole)
    _merge(whole, away)
    takes_s = time.monotonic() - begun_s
    wanted = contents(whole)
    for n in range(count):
        tally.tried += 1
        here = folder / f"here-{n}"
        shutil.copytree(home, here)
        child = os.fork()
        if child == 0:
            try:
                _merge(here, away)
            finally:
                os._exit(0)
        time.sleep(random.random() * takes_s)  # the moment of the kill is the test
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        with open_book(here, clock=now) as book, open_book(away, clock=now) as other:
            for problem in book.check():
                if not problem.what.startswith(HARMLESS):
                    tally.lose(f"{problem}")
            for organ in book.news_of(other).organs:
                if organ.facts.get("recording") != 1:
                    tally.lose(f"half of {organ.name}: {organ.facts}")
            book.merge(other)
            if book.check():
                tally.lose("order in the book")
        if contents(here) != wanted:
            tally.lose(f"something after kill {n}")
        shutil.rmtree(here)
    return tally


def _two_copies(home: Path, away: Path) -> None:
    with create_book(home, clock=now) as book:
        for name in ORGANS:
            organ = book.add_organ(name, DESCRIPTION.replace(ORGANS[0], name))
            book.open_visit(organ.id, "spring")
        with create_book(away, clock=now) as other:
            other.merge(book)
            for organ in other.organs():
                visit = other.visits(organ.id)[0].id
                source = home.parent / f"{organ.id}.wav"
                source.write_bytes(organ.name.encode() * 100_000)
                walk = a_walk(*(a_hold(n) for n in range(1, 62)))
                other.keep_recording(visit, source, walk, program_version="0")
                other.keep_plan(visit, a_plan(*range(1, 20)))
                other.close_visit(visit, "done")
        for organ in book.organs():
            book.keep_plan(book.visits(organ.id)[0].id, a_plan(3))


def _merge(here: Path, away: Path) -> None:
    with open_book(here, clock=now) as book, open_book(away, clock=now) as other:
        book.merge(other)
