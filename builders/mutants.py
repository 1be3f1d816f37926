"""Mutation testing: breaks the source a line at a time and runs the tests that should object.

``python builders/mutants.py`` works through every package of `PACKAGES`; name one or more to run
only those (``listening/joint``). ``--sample N`` tries N mutants of each, drawn with ``--seed``. It
works on a copy in ``build/mutants`` and keeps each session there: after Ctrl-C a second call goes
on. Then it prints what survived. cosmic-ray makes the mutants and judges them.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import subprocess
import sys
from pathlib import Path

from cosmic_ray.work_db import WorkDB, use_db
from cosmic_ray.work_item import WorkerOutcome, WorkResult

ROOT = Path(__file__).resolve().parent.parent
PLACE = ROOT / "build" / "mutants"
COPY = PLACE / "tree"

# Source under src/walkboard -> the tests that guard it.
PACKAGES = {
    "survey": "tests/survey",
    "listening/joint": "tests/listening/joint",
    "condition": "tests/condition",
    "planning/value": "tests/planning",
    "work": "tests/work tests/cli",
    "desk/server/outbox.py": "tests/desk/server tests/desk/pages/test_pipe.py",
}
SECONDS = 900.0  # chosen: longer than the slowest of these test folders on a busy machine

# A union of types or a decorator changes no behaviour that a test could see.
NOT_TRIED = ("core/ReplaceBinaryOperator_BitOr", "core/RemoveDecorator", "core/VariableInserter")


def copied() -> None:
    """A clean copy of what is committed: the mutants are written into it, never into the source."""
    shutil.rmtree(COPY, ignore_errors=True)
    COPY.mkdir(parents=True)
    archive = subprocess.run(
        ["git", "archive", "HEAD"], cwd=ROOT, check=True, capture_output=True
    ).stdout
    subprocess.run(["tar", "-x"], cwd=COPY, input=archive, check=True)
    shared = ROOT.parent / "shared"
    if shared.exists() and not (PLACE / "shared").exists():
        (PLACE / "shared").symlink_to(shared)


def session(package: str, tests: str, sample: int | None, seed: int) -> Path:
    """The session file of a package, begun with its sample where there is none yet."""
    name = package.removesuffix(".py").replace("/", "-")
    config, kept = PLACE / f"{name}.toml", PLACE / f"{name}.sqlite"
    python = f"{sys.executable} -m pytest -q -x -p no:randomly"
    config.write_text(
        f'[cosmic-ray]\nmodule-path = "src/walkboard/{package}"\ntimeout = {SECONDS}\n'
        f'excluded-modules = []\ntest-command = "{python} {tests}"\n\n'
        '[cosmic-ray.distributor]\nname = "local"\n',
        encoding="utf-8",
    )
    if kept.exists():
        return kept
    subprocess.run([_tool("cosmic-ray"), "init", str(config), str(kept)], cwd=COPY, check=True)
    with use_db(str(kept), WorkDB.Mode.open) as work:
        items = [
            item
            for item in work.pending_work_items
            if not any(m.operator_name.startswith(NOT_TRIED) for m in item.mutations)
        ]
        items.sort(key=lambda item: item.job_id)
        wanted = {
            item.job_id
            for item in (
                random.Random(seed).sample(items, min(sample, len(items))) if sample else items
            )
        }
        work.set_multiple_results(
            [i.job_id for i in work.pending_work_items if i.job_id not in wanted],
            WorkResult(worker_outcome=WorkerOutcome.SKIPPED, output="not drawn"),
        )
    return kept


def judged(package: str, kept: Path) -> str:
    """The score of a session and every survivor, as text."""
    with use_db(str(kept), WorkDB.Mode.open) as work:
        tried = [
            (item, result)
            for item, result in work.completed_work_items
            if result.worker_outcome is not WorkerOutcome.SKIPPED
        ]
    survivors = [(item, result) for item, result in tried if not result.is_killed]
    killed = len(tried) - len(survivors)
    lines = [f"{package}: {killed} of {len(tried)} mutants killed"]
    for item, result in survivors:
        (mutation, *_) = item.mutations
        lines.append(f"  survived: {mutation.module_path}:{mutation.start_pos[0]}")
        lines += [
            f"    {line}"
            for line in (result.diff or "").splitlines()
            if re.match(r"[+-](?![+-]{2})", line)
        ]
    return "\n".join(lines)


def _tool(name: str) -> str:
    return str(Path(sys.executable).with_name(name))


def main() -> None:
    said = argparse.ArgumentParser(description=__doc__)
    said.add_argument("packages", nargs="*", metavar="PACKAGE", help="default: all")
    said.add_argument("--sample", type=int, help="mutants to try of each package; default: all")
    said.add_argument("--seed", type=int, default=1)
    asked = said.parse_args()
    if unknown := [p for p in asked.packages if p not in PACKAGES]:
        sys.exit(f"Unknown: {', '.join(unknown)}. Choose from {', '.join(PACKAGES)}.")
    copied()
    # the copy's source comes before the installed one
    environment = os.environ | {"PYTHONPATH": str(COPY / "src"), "PYTHONDONTWRITEBYTECODE": "1"}
    for package in asked.packages or PACKAGES:
        kept = session(package, PACKAGES[package], asked.sample, asked.seed)
        subprocess.run(
            [_tool("cosmic-ray"), "exec", str(kept.with_suffix(".toml")), str(kept)],
            cwd=COPY, check=True, env=environment,
        )  # fmt: skip
        print(judged(package, kept), flush=True)


if __name__ == "__main__":
    main()
