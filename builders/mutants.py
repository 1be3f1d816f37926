"""Mutation testing: breaks the source a line at a time and runs the tests that should object.

``python builders/mutants.py`` works through every package of `PACKAGES`; name one or more to run
only those (``listening/joint``). ``--sample N`` tries N mutants of each, drawn with ``--seed``. It
works on a copy in ``build/mutants`` and keeps what it has found there: after Ctrl-C a second call
goes on. Mutants that were killed are not tried again until their file changes, survivors not until
a test changes. Then it prints what survived.
"""

from __future__ import annotations

import argparse
import difflib
import hashlib
import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from builders.mutant_operators import Mutant, drawn, mutants_of, source_files
from builders.mutant_tests import Tests, learn, survives

ROOT = Path(__file__).resolve().parent.parent
PLACE = ROOT / "build" / "mutants"

# Source under src/walkboard -> the tests that guard it.
PACKAGES = {
    "survey": "tests/survey",
    "listening/joint": "tests/listening/joint",
    "condition": "tests/condition",
    "planning/value": "tests/planning",
    "work": "tests/work tests/cli",
    "desk/server/outbox.py": "tests/desk/server tests/desk/pages/test_pipe.py",
}
CONTROLS = 1  # chosen: lines whose tests must pass while nothing is broken


def copied(tree: Path) -> None:
    """A copy of the tree as it is: mutants are written into it, never into the source."""
    shutil.rmtree(tree, ignore_errors=True)
    tree.mkdir(parents=True)
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"],
        cwd=ROOT, check=True, capture_output=True, text=True,
    )  # fmt: skip
    for name in listed.stdout.splitlines():
        if (ROOT / name).is_file():
            (tree / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, tree / name)
    shared = ROOT.parent / "shared"
    if shared.exists() and not (tree.parent / "shared").exists():
        (tree.parent / "shared").symlink_to(shared.resolve())


def digest(*texts: str) -> str:
    return hashlib.sha256("\0".join(texts).encode()).hexdigest()[:16]


def known_tests(package: str, tree: Path) -> tuple[str, Tests]:
    """What the package's tests reach, learned again whenever source or tests have changed.

    The text first names this state of source and tests.
    """
    tests = PACKAGES[package]
    files = [
        *source_files(tree, package),
        *(file for place in tests.split() for file in sorted((tree / place).rglob("*.py"))),
    ]
    key = digest(*(f"{file.relative_to(tree)}{file.read_text(encoding='utf-8')}" for file in files))
    sources = [str(f.relative_to(tree)) for f in source_files(tree, package)]
    return key, learn(tree, sources, tests, tree.parent / f"tests-{key}.json")


def change(source: str, mutated: str) -> list[str]:
    """The lines that differ, as - and +."""
    return [
        line.rstrip()
        for line in difflib.unified_diff(source.splitlines(), mutated.splitlines(), n=0)
        if line[:1] in "+-" and line[:3] not in ("+++", "---")
    ]


def waits_for_the_others(limit: float | None) -> None:
    while limit is not None and os.getloadavg()[0] > limit:
        time.sleep(5.0)


def run(package: str, sample: int | None, seed: int, highest_load: float | None) -> None:
    """Try the mutants of one package and print the score and the survivors."""
    place = PLACE / package.removesuffix(".py").replace("/", "-")
    tree, judged_file = place / "tree", place / "judged.txt"
    copied(tree)
    state, tests = known_tests(package, tree)
    judged = set(judged_file.read_text().split()) if judged_file.exists() else set()
    every = [
        mutant
        for file in source_files(tree, package)
        for mutant in mutants_of(str(file.relative_to(tree)), file.read_text(encoding="utf-8"))
    ]
    chosen = drawn(every, sample, seed)
    print(f"{package}: {len(every)} mutants, {len(chosen)} drawn (seed {seed})", flush=True)
    for mutant in [] if f"control-{state}" in judged else chosen[:CONTROLS]:
        source = (tree / mutant.path).read_text(encoding="utf-8")
        if not survives(tree, tests, mutant.path, mutant.line, source):
            sys.exit(f"The tests of {mutant.path}:{mutant.line} are red without any change.")
    alive: list[Mutant] = []
    with judged_file.open("a") as kept:
        kept.write(f"control-{state}\n")
        for number, mutant in enumerate(chosen, 1):
            source = (tree / mutant.path).read_text(encoding="utf-8")
            mutated = mutant.code(source)
            key = digest(mutant.path, mutated)
            if f"killed-{key}" in judged:
                continue
            survived = f"{state}-{key}"  # by the tests as they are; others may kill it
            if survived not in judged:
                waits_for_the_others(highest_load)
                is_alive = survives(tree, tests, mutant.path, mutant.line, mutated)
                kept.write(f"{survived if is_alive else f'killed-{key}'}\n")
                kept.flush()
            if survived in judged or is_alive:
                alive.append(mutant)
                reached = len(tests.by_line.get(mutant.path, {}).get(mutant.line, []))
                print(f"  survived {number}: {mutant.path}:{mutant.line} {mutant.operator}")
                print(*(f"    {line}" for line in change(source, mutated)), sep="\n")
                print(f"    reached by {reached} tests", flush=True)
    score = {"package": package, "seed": seed, "tried": len(chosen), "survived": len(alive)}
    print(f"{package}: {len(chosen) - len(alive)} of {len(chosen)} mutants killed")
    with (PLACE / "scores.jsonl").open("a") as scores:
        scores.write(json.dumps(score) + "\n")


def main() -> None:
    said = argparse.ArgumentParser(description=__doc__)
    said.add_argument("packages", nargs="*", metavar="PACKAGE", help="default: all")
    said.add_argument("--sample", type=int, help="mutants to try of each package; default: all")
    said.add_argument("--seed", type=int, default=1)
    said.add_argument("--highest-load", type=float, help="pause while the machine is busier")
    asked = said.parse_args()
    if unknown := [p for p in asked.packages if p not in PACKAGES]:
        sys.exit(f"Unknown: {', '.join(unknown)}. Choose from {', '.join(PACKAGES)}.")
    for package in asked.packages or PACKAGES:
        run(package, asked.sample, asked.seed, asked.highest_load)


if __name__ == "__main__":
    main()
