"""Books for the tests of the commands."""

from pathlib import Path

import pytest

from tests.commands import Run


@pytest.fixture
def book(run: Run, organ_file: Path, tmp_path: Path) -> Path:
    """A book with the small organ and nothing else."""
    folder = tmp_path / "book"
    assert run("book", "new", folder).code == 0
    assert run("book", "add", folder, organ_file).code == 0
    return folder
