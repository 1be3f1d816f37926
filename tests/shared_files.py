"""Where files shared with the project lie: beside its root, never by an absolute path."""

from __future__ import annotations

from pathlib import Path

import pytest

SHARED = Path(__file__).parents[2] / "shared"


def shared(*parts: str) -> Path:
    """A file or folder of ``../shared``; the test skips, and says so, where it is not there."""
    path = SHARED.joinpath(*parts)
    if not path.exists():
        pytest.skip(f"../shared/{'/'.join(parts)} is not here, beside the project")
    return path
