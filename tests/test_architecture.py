"""The structure holds: imports go downward, and the check that says so can fail."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


def lint_imports(root: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [
            sys.executable,
            "-c",
            "from importlinter.cli import lint_imports_command as c; c()",
            "--no-cache",
        ],
        cwd=root,
        env={**os.environ, "PYTHONPATH": str(root / "src")},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def copy_of_the_house(tmp_path: Path) -> Path:
    shutil.copytree(ROOT / "src", tmp_path / "src", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_imports_keep_their_direction(copy_of_the_house: Path) -> None:
    done = lint_imports(copy_of_the_house)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout


@pytest.mark.parametrize(
    ("module", "planted"),
    [
        ("scales/keys.py", "from walkboard.organ import model"),
        ("listening/types.py", "from walkboard.organ import model"),
        ("planning/plan.py", "import sqlalchemy"),
        ("condition/state.py", "import random"),
        ("book/records/visits.py", "from walkboard.sheets import cautions"),
        ("demo/synthesiser/voices.py", "from walkboard.listening import heard"),
    ],
)
def test_a_planted_wrong_import_is_caught(
    copy_of_the_house: Path, module: str, planted: str
) -> None:
    path = copy_of_the_house / "src" / "walkboard" / module
    text = path.read_text(encoding="utf-8")
    if "from __future__ import annotations\n" in text:
        text = text.replace(
            "from __future__ import annotations\n",
            f"from __future__ import annotations\n{planted}\n",
            1,
        )
    else:
        text += f"\n{planted}\n"
    path.write_text(text, encoding="utf-8")
    done = lint_imports(copy_of_the_house)
    assert done.returncode != 0
    assert "BROKEN" in done.stdout


def test_locks_carry_hashes_and_name_no_host() -> None:
    for lock in sorted(ROOT.glob("requirements*.lock")):
        text = lock.read_text(encoding="utf-8")
        pinned = re.findall(r"^[a-z0-9][\w.-]*==", text, re.MULTILINE)
        assert pinned, f"{lock.name} pins nothing"
        assert "--hash=sha256:" in text
        assert "://" not in text, f"{lock.name} names a host"


def test_arrays_are_compared_by_functions_that_can_fail() -> None:
    # A line `np.allclose(a, b)` without assert checks nothing, and no linter sees it.
    for path in sorted((ROOT / "tests").rglob("*.py")):
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
            assert not re.match(r"\s*(np|numpy)\.(all|array_equal|allclose)\(", line), (
                f"{path.name}:{number}: use numpy.testing.assert_allclose"
            )
