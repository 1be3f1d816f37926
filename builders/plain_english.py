"""Finds words that nobody says any more in the program, its tests and its documents.

``python builders/plain_english.py`` lists each with its file and line, and exits with 1 if there
are any. CONTRIBUTING.md says what to write instead.
"""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ENDINGS = {".py", ".md", ".html", ".js", ".toml", ".typ", ".css"}
# This file, the table of what not to write, and the other languages.
APART = re.compile(r"builders/plain_english\.py|CONTRIBUTING\.md|.*/words/(?!en/).*|.*\.csv")
ARCHAIC = re.compile(
    r"(?<![^\W_])(?:un)?told(?![^\W_])"
    r"|(?<![^\W_])mend(?:s|ed|ing)?(?![^\W_])"
    r"|\b(?:n[oa]ught|anew|whereas|thereby|wherein|thereof|betimes|lest|ere)\b"
    r"|\b(?:bears?|bore|borne) out\b"
    r"|\bunless said otherwise\b",
    re.IGNORECASE,
)
# Names that older books, exports, pages and scripts know: columns, JSON fields, a command, a route.
KEPT = re.compile(
    r"\bmended_(?:at|in_visit|note)\b|\b(?:\w+_)?fault_mending(?:_\w+)?\b|\btold_celsius\b"
    r"|\.mend\b|[\"']mend(?:ing)?[\"']|/mend\b|\bfault mend\b|^  mend  "
)


@dataclass(frozen=True, slots=True)
class Found:
    """A line with an archaic word."""

    file: str
    line: int
    word: str


def look_through(file: str, text: str) -> Iterator[Found]:
    """The archaic words of one file, names that must stay left out."""
    for number, line in enumerate(text.splitlines(), start=1):
        for match in ARCHAIC.finditer(KEPT.sub(" ", line)):
            yield Found(file, number, match[0])


def files() -> Iterator[Path]:
    """Every file of the repository that people read."""
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, check=True, capture_output=True, text=True
    ).stdout
    for name in listed.splitlines():
        path = ROOT / name
        if path.suffix in ENDINGS and not APART.fullmatch(name) and path.is_file():
            yield path


def main() -> None:
    found = [
        one
        for path in files()
        for one in look_through(str(path.relative_to(ROOT)), path.read_text(encoding="utf-8"))
    ]
    for one in found:
        print(f"{one.file}:{one.line}: {one.word}")
    if found:
        sys.exit(f"{len(found)} archaic words: CONTRIBUTING.md says what to write instead.")


if __name__ == "__main__":
    main()
