"""Which tests can see a line, and what they say once it is broken.

The tests of a package run once under coverage, each in its own context. A mutant then needs only
the tests that reach its line: those that mirror the source first, and of these the quick ones. A
warm process holds the libraries and forks one child per mutant, so that most take a second or two.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import coverage

# Libraries that bring a pytest plugin are imported before pytest can rewrite their asserts.
FLAGS = ("-q", "-x", "--no-header", "--tb=no", "-W", "ignore::pytest.PytestAssertRewriteWarning")
LOOK_S = 8.0  # chosen: seconds of tests that reach the line; every mutant gets these
SECOND_LOOK_S = 6.0  # chosen: seconds of other tests of the same file, for what is still alive
PATIENCE = 12.0  # chosen: a mutant may take this many times as long as its tests took, and
HANG_S = 60.0  # chosen: this much more, on a busy machine


@dataclass(frozen=True)
class Tests:
    """What the tests reach: test ids by file and line, and the seconds of each test."""

    by_line: dict[str, dict[int, list[str]]]
    seconds: dict[str, float]

    def for_line(self, path: str, line: int) -> list[str]:
        """The tests that reach a line; the whole file's where the line runs at import."""
        lines = self.by_line.get(path, {})
        return self._quick_first(path, lines.get(line) or self._for_file(path), LOOK_S)

    def second_look(self, path: str, seen: Iterable[str]) -> list[str]:
        """Other tests of the file: a shared fixture shows only in the test that came first."""
        return self._quick_first(path, self._for_file(path) - set(seen), SECOND_LOOK_S)

    def _for_file(self, path: str) -> set[str]:
        return {test for tests in self.by_line.get(path, {}).values() for test in tests}

    def _quick_first(self, path: str, tests: Iterable[str], limit_s: float) -> list[str]:
        """Tests of the folder that mirrors the source, then others, until the time is used up."""
        mirror = str(Path(path.replace("src/walkboard", "tests", 1)).parent) + "/"

        def order(test: str) -> tuple[bool, float, str]:
            return not test.startswith(mirror), self.seconds.get(test, 1.0), test

        chosen: list[str] = []
        total = 0.0
        for test in sorted(tests, key=order):
            total += self.seconds.get(test, 1.0)
            if chosen and total > limit_s:
                break
            chosen.append(test)
        return chosen


class _Contexts:
    """A pytest plugin: each test is a coverage context, and is timed."""

    def __init__(self, measured: coverage.Coverage) -> None:
        self.measured = measured
        self.seconds: dict[str, float] = {}
        self.failed: list[str] = []

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.measured.switch_context(item.nodeid)
        began = time.process_time()
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] = time.process_time() - began
            self.measured.switch_context("")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed.append(report.nodeid)


def _learn(tree: Path, sources: list[str], tests: str, kept: Path) -> None:
    measured = coverage.Coverage(
        data_file=None, include=[str(tree / source) for source in sources], config_file=False
    )
    plugin = _Contexts(measured)
    measured.start()
    pytest.main([*(flag for flag in FLAGS if flag != "-x"), *tests.split()], [plugin])
    measured.stop()
    data = measured.get_data()
    by_line = {
        str(Path(name).relative_to(tree)): {
            line: [test for test in contexts if test in plugin.seconds]
            for line, contexts in data.contexts_by_lineno(name).items()
        }
        for name in data.measured_files()
    }
    names = sorted(
        name
        for name, module in sys.modules.items()
        if not str(getattr(module, "__file__", None) or tree).startswith(str(tree))
    )
    for failed in plugin.failed:
        plugin.seconds.pop(failed, None)
    kept.write_text(
        json.dumps(
            {
                "by_line": {
                    path: {
                        line: [t for t in tests if t not in plugin.failed]
                        for line, tests in lines.items()
                    }
                    for path, lines in by_line.items()
                },
                "seconds": plugin.seconds,
                "failed": plugin.failed,
                "modules": names,
            }
        ),
        encoding="utf-8",
    )


def learn(tree: Path, sources: list[str], tests: str, kept: Path) -> Tests:
    """Run the tests once, or read what an earlier run of the same code has kept."""
    if not kept.exists():
        _in_child(_learn, tree, 3600.0, (tree, sources, tests, kept))
    if not kept.exists():
        raise SystemExit(f"The tests did not run: {tests}")
    read = json.loads(kept.read_text(encoding="utf-8"))
    for failed in read["failed"]:
        print(f"  red before anything was broken, not used: {failed}", flush=True)
    _warm(read["modules"])
    by_line = {
        path: {int(line): tests for line, tests in lines.items()}
        for path, lines in read["by_line"].items()
    }
    return Tests(by_line, read["seconds"])


def survives(tree: Path, tests: Tests, path: str, line: int, mutated: str) -> bool:
    """Whether every test that could see the change still passes."""
    file = tree / path
    original, times = file.read_text(encoding="utf-8"), file.stat()
    first = tests.for_line(path, line)
    try:
        file.write_text(mutated, encoding="utf-8")
        for looked in (first, tests.second_look(path, first)):
            seconds = sum(tests.seconds.get(test, 1.0) for test in looked)
            limit_s = HANG_S + PATIENCE * seconds
            if looked and _in_child(_judge, tree, limit_s, (looked,)) != 0:
                return False
    finally:
        file.write_text(original, encoding="utf-8")
        os.utime(file, (times.st_atime, times.st_mtime))  # so that its .pyc stays good
    return True


def _judge(tests: list[str]) -> None:
    sys.dont_write_bytecode = True
    sys.exit(int(pytest.main([*FLAGS, *tests])))


def _in_child(task: Any, tree: Path, limit_s: float, arguments: tuple[Any, ...]) -> int | None:
    """The exit code of a forked child; None when it had to be ended."""
    child = multiprocessing.get_context("fork").Process(target=_alone, args=(task, tree, arguments))
    child.start()
    child.join(limit_s)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child.pid or 0, signal.SIGKILL)  # what the tests started and left
    child.join()
    return None if child.exitcode == -signal.SIGKILL else child.exitcode


def _alone(task: Any, tree: Path, arguments: tuple[Any, ...]) -> None:
    os.setpgrp()
    os.chdir(tree)
    sys.modules["__main__"] = ModuleType("__main__")  # what a test spawns does not import this
    os.environ["PYTHONPATH"] = str(tree / "src")
    sys.path[:0] = [str(tree / "src"), str(tree)]
    quiet = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(quiet, stream)
    task(*arguments)


def _warm(names: list[str]) -> None:
    """Import the libraries that the tests use; a child then has them at once."""
    for name in names:
        with contextlib.suppress(Exception):
            importlib.import_module(name)
    if "walkboard" in sys.modules:
        raise SystemExit("A library imports walkboard: its mutants would not be seen.")
