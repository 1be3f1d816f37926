"""What the demo prints to be pasted works as pasted, also where `walkboard` is not on the path."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.desk.books import make_book
from walkboard.cli.demo import to_paste
from walkboard.organ import examples

PROGRAM = Path(sys.executable).with_name("walkboard")


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """In a folder whose name a shell would take for two."""
    folder = tmp_path_factory.mktemp("my demo") / "book"
    make_book(folder, examples.village(), visits=1)
    return folder


@pytest.fixture
def environment(monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """The shell of somebody who has typed `make demo` and nothing else."""
    if not PROGRAM.exists():
        pytest.skip("walkboard is not installed beside this Python: nothing to paste")
    monkeypatch.setattr(sys, "argv", [str(PROGRAM), "demo"])
    plain = {**os.environ, "PATH": "/usr/bin:/bin"}
    monkeypatch.setenv("PATH", plain["PATH"])
    return plain


def test_look_further(book: Path, environment: dict[str, str]) -> None:
    pasted = subprocess.run(
        to_paste("visit readings", book),
        shell=True,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert pasted.returncode == 0, pasted.stderr
    assert "great.open8" in pasted.stdout or "Open Diapason" in pasted.stdout


def test_open_its_pages(book: Path, environment: dict[str, str]) -> None:
    desk = subprocess.Popen(
        f"exec {to_paste('desk', book)}",
        shell=True,
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert desk.stdout is not None
        assert desk.stdout.readline().startswith("The desk is open at http://127.0.0.1:")
    finally:
        desk.terminate()  # SIGINT is ignored where the tests run as a background job
        desk.communicate(timeout=60)
