"""Collects every sentence that the packages below the pages show to the user, for translation.

``python builders/words.py LANGUAGE`` writes ``words/LANGUAGE/sentences.toml``: the English on the
left, its translation on the right. What is already translated stays. It collects the texts of every
error, all texts of the modules listed below, and the names of kinds. A sentence with gaps shows
them as {a}, {b} …; a translation may change their order. English needs no such file.
"""

from __future__ import annotations

import ast
import importlib
import json
import re
import string
import sys
import tomllib
from collections.abc import Iterator, Mapping
from enum import Enum
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src" / "walkboard"
WORDS = SOURCE / "desk" / "words"
APART = {"cli", "demo", "desk"}  # not shown on pages, or with its own catalogue
WORD_MODULES = (
    "sheets/wording.py", "sheets/cautions.py", "sheets/keyholder.py", "sheets/rank_charts.py",
    "sheets/worklist.py", "sheets/values/given.py", "sheets/values/passages.py",
    "sheets/values/report.py", "sheets/values/worklist.py",
    "planning/reasons.py", "planning/value/risk.py",
    "organ/wording.py", "organ/checking.py", "organ/checking_pitch.py", "organ/checking_ranks.py",
    "organ/checking_stops.py", "organ/building.py", "organ/shape.py", "organ/syntax.py",
    "physics/moving.py", "condition/settling/moves.py", "condition/settling/forecast.py",
    "capture/source.py", "listening/types.py", "work/worklist.py", "work/pipe_history.py",
    "work/organ_files.py", "work/live/session.py", "work/live/flow.py", "work/live/values.py",
    "work/plan_request.py", "work/conditions/clock.py", "work/conditions/logger_csv.py",
)  # fmt: skip
KINDS = (
    "walkboard.organ.model.Family",
    "walkboard.organ.model.TunedBy",
    "walkboard.listening.types.ReadingFlag",
    "walkboard.listening.types.HoldFlag",
)
_WORD = re.compile(r"[^\W\d_]{2}")
_CODE = re.compile(r"[a-z0-9_.\-/]*[_./][a-z0-9_.\-/]*|%[-\w. %:]+|[\w.]*\\.*")
_HEAD = "# Sentences of the packages below the pages; renewed by builders/words.py.\n"


@cache
def sentences() -> tuple[str, ...]:
    """Every text, once, in order."""
    if missing := [name for name in WORD_MODULES if not (SOURCE / name).is_file()]:
        sys.exit(f"WORD_MODULES names files that do not exist: {', '.join(missing)}")
    found: set[str] = set()
    for path in sorted(SOURCE.rglob("*.py")):
        inside = path.relative_to(SOURCE)
        if inside.parts[0] in APART:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        if str(inside.as_posix()) in WORD_MODULES:
            found.update(_texts(_without_docstrings(tree)))
        else:
            for node in ast.walk(tree):
                if isinstance(node, ast.Call) and _name(node.func).endswith(("Error", "Finding")):
                    found.update(_texts(node))
    for kind in KINDS:
        module, _, name = kind.rpartition(".")
        values: type[Enum] = getattr(importlib.import_module(module), name)
        found.update(str(one.value) for one in values)
    return tuple(sorted(found))


def _texts(tree: ast.AST) -> Iterator[str]:
    inner = {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr)
        for part in node.values
    }
    for node in ast.walk(tree):
        yield from _counted(node)
        text = ""
        if isinstance(node, ast.JoinedStr):
            text = _pattern(node)
        elif isinstance(node, ast.Constant) and id(node) not in inner:
            text = _plain(node.value) if isinstance(node.value, str) else ""
        plain = re.sub(r"\{[a-z]\}", "", text)
        if _WORD.search(plain) and not _CODE.fullmatch(text.strip()):
            yield text


def _counted(node: ast.AST) -> Iterator[str]:
    """The words of ``counted(n, "pipe")``, which makes the plural itself."""
    if isinstance(node, ast.Call) and _name(node.func) == "counted":
        given = (a.value for a in node.args[1:] if isinstance(a, ast.Constant))
        words = [word for word in given if isinstance(word, str)]
        yield from (
            f"{{a}} {one}" for one in (words if len(words) > 1 else [*words, f"{words[0]}s"])
        )


def _pattern(node: ast.JoinedStr) -> str:
    letters = iter(string.ascii_lowercase)
    parts = []
    for part in node.values:
        if isinstance(part, ast.Constant):
            parts.append(_plain(str(part.value)))
        else:
            parts.append(f"{{{next(letters)}}}")
    return "".join(parts)


def _plain(text: str) -> str:
    return text.replace("{", "{{").replace("}", "}}")


def _name(node: ast.expr) -> str:
    return node.attr if isinstance(node, ast.Attribute) else getattr(node, "id", "")


def _without_docstrings(tree: ast.Module) -> ast.Module:
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list) and body and isinstance(body[0], ast.Expr):
            node.body = [  # type: ignore[attr-defined]
                n
                for n in body
                if not (isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant))
            ]
    return tree


def written(known: Mapping[str, str]) -> str:
    """The whole file, with what is already translated."""
    quoted = [
        [json.dumps(words, ensure_ascii=False) for words in (text, known.get(text, text))]
        for text in sentences()
    ]
    return _HEAD + "".join(f"{text} = {words}\n" for text, words in quoted)


def main() -> None:
    if len(sys.argv) != 2 or sys.argv[1] == "en":
        sys.exit("Name the language to translate into: python builders/words.py de")
    target = WORDS / sys.argv[1] / "sentences.toml"
    known = tomllib.loads(target.read_text(encoding="utf-8")) if target.exists() else {}
    target.parent.mkdir(exist_ok=True)
    target.write_text(written(known), encoding="utf-8")
    print(f"wrote {target.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
