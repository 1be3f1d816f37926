"""Programs that the tests start and kill: they import recordings, and report what is stored.

Run as ``python -m tests.book.taking_in WHAT BOOK FOLDER``.
"""

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.book.making import VERSION, a_hold, a_walk
from walkboard.book import open_book
from walkboard.book.files.folder import sync_folder
from walkboard.book.files.sounds import SoundFolder
from walkboard.book.keeping import Book
from walkboard.errors import BookError
from walkboard.survey.hear.heard_walk import HeardWalk

ROOT = Path(__file__).resolve().parents[2]
KEYS = 61
NOTES = 12
BYTES = 3_000_000


def start(what: str, book: Path, folder: Path) -> subprocess.Popen[str]:
    """Start one of these programs, with its lines to be read and its start to be given."""
    return subprocess.Popen(
        [sys.executable, "-m", "tests.book.taking_in", what, str(book), str(folder)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def now() -> datetime:
    return datetime.now(UTC)


def whole_walk(name: str) -> HeardWalk:
    holds = tuple(a_hold(number) for number in range(1, KEYS + 1))
    return replace(a_walk(*holds), file=name)


def take_in(book: Book, folder: Path, name: str, say: Callable[[str], None]) -> None:
    source = folder / name
    source.write_bytes(name.encode() * (BYTES // len(name)))
    kept = book.keep_recording(1, source, whole_walk(name), program_version=VERSION)
    say(f"kept {kept.id} {kept.sha256} {name}")


def say(words: str) -> None:
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def until_killed(path: Path, folder: Path) -> None:
    """Take in one recording after another."""
    with open_book(path, clock=now) as book:
        number = 0
        while True:
            number += 1
            take_in(book, folder, f"{os.getpid()}-{number}.wav", say)


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def at_each_stage(path: Path, folder: Path) -> None:
    """Take in one recording a stage, in a child that kills itself there."""

    def dies_after(stage: str) -> None:
        if stage == "copying":
            SoundFolder.copy_in = then_die(SoundFolder.copy_in)  # type: ignore[method-assign]
        elif stage == "naming":
            SoundFolder.give_name = then_die(SoundFolder.give_name)  # type: ignore[method-assign]
        elif stage == "writing":
            # After the rows, before the commit: a walk is read back last.
            import walkboard.book.recordings.taking_in as module

            names = vars(module)
            names["recording_of"] = then_die(names["recording_of"])
        elif stage == "keeping":
            Book.keep_recording = then_die(Book.keep_recording)  # type: ignore[method-assign]

    for stage in ("copying", "naming", "writing", "keeping"):
        child = os.fork()
        if child == 0:
            dies_after(stage)
            with open_book(path, clock=now) as book:
                take_in(book, folder, f"{stage}.wav", say)
            os._exit(1)  # not reached
        _, status = os.waitpid(child, 0)
        say(f"{stage} {os.WTERMSIG(status)}")


def then_die(true: Callable[..., Any]) -> Callable[..., Any]:
    def dying(*args: Any, **named: Any) -> Any:
        done = true(*args, **named)
        die()
        return done

    return dying


def notes(path: Path, folder: Path) -> None:
    """Try to open a visit, then add notes and versions of the organ, while another does too."""
    sync_folder(folder)
    with open_book(path, clock=now, wait_s=30.0) as book:
        say("ready")
        sys.stdin.readline()
        try:
            say(f"opened {book.open_visit(1, str(os.getpid())).id}")
        except BookError as error:
            say(f"refused {error.what}")
        for number in range(NOTES):
            book.add_note(1, f"{os.getpid()} {number}")
            organ = book.add_organ("Harbour Hall", f"# {os.getpid()} {number}")
            say(f"version {organ.version}")


if __name__ == "__main__":
    what, path, folder = sys.argv[1:]
    {
        "until-killed": until_killed,
        "at-each-stage": at_each_stage,
        "notes": notes,
    }[what](Path(path), Path(folder))
