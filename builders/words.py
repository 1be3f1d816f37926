"""Collects every sentence that pages, messages and sheets show, for translation.

``python builders/words.py LANGUAGE`` writes ``languages/words/LANGUAGE.toml``: the English on the
left, its translation on the right; what is not translated yet has the English on both sides, and
``--missing`` only lists it. What is already translated stays, also where its English
was reworded a little; what was carried over so is printed, to be read. English needs no such file.

It collects the texts of every error that users see, all texts of `WORD_MODULES`, the sentences of
`SENTENCE_MODULES`, what is given to ``translate`` in code and to ``t`` in the sheets' templates,
and the names of kinds. A sentence with gaps shows them as {a}, {b} …; a translation may change
their order.
"""

from __future__ import annotations

import ast
import difflib
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

from walkboard.languages.translation import MONTHS

ROOT = Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src" / "walkboard"
WORDS = SOURCE / "languages" / "words"
APART = {"cli", "demo", "desk", "languages"}  # not shown on pages, or with its own catalogue
# All texts: phrases of one word too.
WORD_MODULES = (
    "sheets/wording.py", "sheets/cautions.py", "sheets/keyholder.py", "sheets/rank_charts.py",
    "sheets/worklist.py", "sheets/summary.py", "sheets/report.py", "sheets/outlook.py",
    "sheets/complete.py", "sheets/key_sheet.py", "sheets/console_card.py",
    "sheets/readiness_chart.py",
    "sheets/values/given.py", "sheets/values/passages.py",
    "planning/reasons.py", "planning/value/risk.py", "physics/moving.py",
    "organ/wording.py", "organ/checking.py", "organ/checking_builds.py", "organ/shape.py",
    "condition/settling/moves.py", "condition/settling/forecast.py",
    "condition/temperament.py", "condition/questions.py", "condition/drift/since.py",
    "survey/hear/sentence.py", "survey/recognise/walked.py", "capture/source.py",
    "work/worklist.py", "work/pipe_history.py", "work/live/company.py", "work/live/judge.py",
)  # fmt: skip
# Texts of several words: their single words are codes.
SENTENCE_MODULES = (
    "plausible.py", "book/*.py", "book/files/*.py", "book/rows/*.py", "book/organs/*.py",
    "book/visits/*.py", "book/recordings/*.py", "book/readings/*.py", "book/venue/*.py",
    "book/people/*.py", "book/cache/*.py", "book/merging/devices.py", "book/merging/forks.py",
    "book/database/*.py",
    "physics/*.py", "organ/*.py", "organ/stoplist/*.py",
    "condition/finite.py",
    "planning/what_if.py", "planning/complete.py", "planning/choose/*.py",
    "survey/hear/*.py", "survey/plan/walk_plan.py",
    "listening/types.py", "listening/sound/*.py", "work/*.py", "work/live/*.py",
    "work/calendar/*.py", "work/conditions/clock.py", "work/conditions/logger_csv.py",
)  # fmt: skip
# Shown on no page and no sheet: of commands alone, help and documents in English, and words of
# other languages that are read.
UNSEEN = (
    "book/importing.py", "book/copying.py", "scales/tuning_files.py", "work/export",
    "work/snapshot.py",
    "work/archive", "work/guide/tuning.py", "book/checking.py", "work/calendar/music.py",
    "organ/description.py", "organ/rank_tables.py", "organ/fields.py", "organ/reference.py",
    "organ/hints.py", "organ/schema.py", "organ/stoplist/facts.py", "book/files/leftovers.py",
)  # fmt: skip
KINDS = (
    "walkboard.organ.model.Family",
    "walkboard.organ.model.TunedBy",
    "walkboard.listening.types.ReadingFlag",
    "walkboard.listening.types.HoldFlag",
    "walkboard.book.records.FaultKind",
    "walkboard.sheets.readiness_chart.Stand",
    "walkboard.sheets.values.TickState",
)
# Printed with a capital.
HEADINGS = ("walkboard.sheets.cautions.Topic",)
# Keys of tables and of JSON, encodings, and what is looked for in other programs' messages.
CODES = {
    "ctx", "en", "enum", "ge", "gt", "id", "inf", "le", "loc", "lt", "msg", "unknown_key", "[key]",
    "out_of_order", "Illegal character", "--drawn {a}", "walkboard book", "pipe cents",
    "by division", "by rank", "of rank", "stated air", "double of", "LIMITS", "Limits", "changes",
    "lowest", "listening", "moving", "travel", "type", "stop list", "stop name",
    "no of pipes", "pedales de combinaisons", "mg/m³", "µg/dL", "dB(A)", "dB(C)", "count", "far",
    "was", "start", "marks of all", "visits by id", "DejaVu Sans Mono",
    "true", "false", "split", "own", "pattern", "plays", "repeat", "replace", "strerror",
    "partials of a band cannot be separated at all",
    "authentication failed", "does not exist", "no pg_hba.conf entry", "shutting down",
    "starting up",
}  # fmt: skip
# Raised for our own mistakes; no user sees their texts.
OURS = {
    "ValueError", "TypeError", "KeyError", "IndexError", "RuntimeError", "AssertionError",
    "ArithmeticError", "LookupError", "OverflowError", "NotImplementedError", "OSError",
}  # fmt: skip
_GAP = re.compile(r"\{[a-z]\}")
_WORD = re.compile(r"[^\W\d_]{2}")
_CODE = re.compile(r"[a-z0-9_.\-/]*[_./][a-z0-9_.\-/]*|%[-\w. %:]+|#[0-9a-f]{3}|[\w.]*\\.*")
_MARKUP = re.compile(r"[<>|^\\]|#set|\bSELECT\b|\(\?|@|--?//|^# ")
_SENTENCE = re.compile(r"[a-z]{2,} \S*[a-z{]|[A-Z][a-z]+ \{|\} [a-z]{2,}")
_TEMPLATE = re.compile(r'\bt\("([^"]+)"\)')
_HEAD = "# English sentences and their translations; renewed by builders/words.py.\n"


@cache
def sentences() -> tuple[str, ...]:
    """Every text, once, in order."""
    if missing := [name for name in (*WORD_MODULES, *UNSEEN) if not (SOURCE / name).exists()]:
        sys.exit(f"Files are named here that do not exist: {', '.join(missing)}")
    found: set[str] = set()
    for path in sorted(SOURCE.rglob("*.py")):
        inside = path.relative_to(SOURCE)
        tree = ast.parse(path.read_text(encoding="utf-8"))
        found.update(_translated(tree))
        name = inside.as_posix()
        if inside.parts[0] in APART or any(inside.is_relative_to(one) for one in UNSEEN):
            continue
        if name in WORD_MODULES:
            found.update(_texts(_without_docstrings(_without_ours(tree))))
        elif any(inside.match(one) for one in SENTENCE_MODULES):
            texts = _texts(_without_docstrings(_without_ours(tree)))
            found.update(text for text in texts if _SENTENCE.search(text))
        else:
            for node in ast.walk(tree):
                if isinstance(node, ast.Call) and _is_shown(_name(node.func)):
                    found.update(_texts(node))
    for path in sorted(SOURCE.rglob("*.typ")):
        found.update(_TEMPLATE.findall(path.read_text(encoding="utf-8")))
    found.update(MONTHS)  # as dates are written; `languages` itself is not searched
    found.update(value for kind in KINDS for value in _values(kind))
    found.update(value.capitalize() for kind in HEADINGS for value in _values(kind))
    return tuple(sorted(text for text in found - CODES if _is_text(text)))


def _is_text(text: str) -> bool:
    return bool(_WORD.search(_GAP.sub("", text))) and not _MARKUP.search(text)


def _values(kind: str) -> Iterator[str]:
    module, _, name = kind.rpartition(".")
    values: type[Enum] = getattr(importlib.import_module(module), name)
    yield from (str(one.value) for one in values)


def _is_shown(called: str) -> bool:
    return called.endswith(("Error", "Finding")) and called not in OURS


def _translated(tree: ast.AST) -> Iterator[str]:
    """The texts given to ``translate``."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and _name(node.func) == "translate":
            yield from (
                _pattern(part) if isinstance(part, ast.JoinedStr) else _plain(str(part.value))
                for part in node.args
                if isinstance(part, (ast.Constant, ast.JoinedStr))
            )


def _without_ours(tree: ast.Module) -> ast.Module:
    """Without the texts of errors that only we see."""

    class Cut(ast.NodeTransformer):
        def visit_Call(self, node: ast.Call) -> ast.AST:
            return ast.Constant(0) if _name(node.func) in OURS else self.generic_visit(node)

    return Cut().visit(tree)  # type: ignore[no-any-return]


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
        plain = _GAP.sub("", text)
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
    """A text with its own gaps, as ``{about}``, named {a}, {b} …; other braces doubled."""
    letters = iter(string.ascii_lowercase)
    parts = re.split(r"\{[a-z_]+\}", text)
    escaped = [part.replace("{", "{{").replace("}", "}}") for part in parts]
    gaps = [f"{{{next(letters)}}}" for _ in escaped[1:]]
    return "".join(word for pair in zip(escaped, [*gaps, ""], strict=True) for word in pair)


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


_ALIKE = 0.7  # of the letters: the same sentence, said better. Chosen; check what is printed.


def carried(known: Mapping[str, str]) -> dict[str, str]:
    """Where a sentence's English was reworded: the old sentence, by the new one."""
    found: dict[str, str] = {}
    gone = [text for text in known if text not in sentences()]
    for text in sentences():
        gaps = sorted(_GAP.findall(text))
        like = [old for old in gone if sorted(_GAP.findall(old)) == gaps]
        if text not in known and (best := difflib.get_close_matches(text, like, 1, _ALIKE)):
            found[text] = best[0]
    return found


def main() -> None:
    languages = [word for word in sys.argv[1:] if not word.startswith("-")]
    if len(languages) != 1 or languages == ["en"]:
        sys.exit("Name the language to translate into: python builders/words.py de [--missing]")
    target = WORDS / f"{languages[0]}.toml"
    known = tomllib.loads(target.read_text(encoding="utf-8")) if target.exists() else {}
    if "--missing" in sys.argv:
        print("\n".join(text for text in sentences() if text not in known))
        return
    for text, old in carried(known).items():
        print(f"{old!r}\n    now {text!r}\n    stays {known[old]!r}")
        known[text] = known[old]
    target.write_text(written(known), encoding="utf-8")
    print(f"wrote {target.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
