"""From text to TOML values, with errors that a tuner can fix."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from walkboard.errors import DescriptionError, Problem
from walkboard.organ.positions import opened

_PLACE = re.compile(r"^(?P<what>.*?) \(at (?:line (?P<line>\d+), column \d+|end of document)\)$")
_FIELD = re.compile(r"^\s*([\w.\"'-]+)\s*=\s*(.*?)\s*$")
_HEADER = re.compile(r"^\s*\[+\s*([^\]]*?)\s*\]*\s*(?:#.*)?$")
_SURROGATE = re.compile("[\ud800-\udfff]")


def parse_toml(text: str, *, where: str) -> dict[str, Any]:
    """Values of a TOML text.

    Raises
    ------
    DescriptionError
        With one problem, if the text is empty, not plain text, or not TOML; the rest cannot be read
        yet.
    """
    problem = _not_text(text)
    if problem is None:
        try:
            return tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            problem = _syntax_problem(text, str(error))
        except RecursionError:
            problem = Problem(
                None, "file", "brackets are nested too deep.", "Close them: see the examples."
            )
        except ValueError as error:  # for example a number with thousands of digits
            problem = Problem(None, "file", f"a value cannot be read: {error}.", "Correct it.")
    raise DescriptionError((problem,), where=where)


def _not_text(text: str) -> Problem | None:
    if not text.strip():
        return Problem(
            1,
            "file",
            "the description is empty.",
            "Start from one of the supplied examples.",
        )
    for line, content in enumerate(text.split("\n"), 1):
        if "\x00" in content or "\ufffd" in content or _SURROGATE.search(content):
            return Problem(
                line,
                "file",
                "this is not UTF-8 text.",
                "Save the file from a text editor as plain text, UTF-8.",
            )
    return None


def _syntax_problem(text: str, message: str) -> Problem:
    found = _PLACE.match(message)
    what, place = (found["what"], found["line"]) if found else (message, None)
    lines = text.split("\n")
    number = int(place) if place else len(text.rstrip().split("\n"))
    content = lines[number - 1] if number <= len(lines) else ""
    field = _FIELD.match(content)
    name = field[1] if field else "file"
    value = field[2] if field else content.strip()

    still_open = opened(text)
    if still_open is not None and ("Unclosed" in what or place is None):
        begun, kind = still_open
        fix = "Close it, and put a comma between its parts."
        if kind == "text":
            fix = "Close it with three quotation marks, or write it on one line with one."
        return Problem(begun, _field_on(lines[begun - 1]), f"the {kind} is not closed.", fix)
    if "twice" in what or "overwrite" in what or "mutate" in what or "replace" in what:
        return _twice(number, content, name)
    if re.search(r"[“”„‘’«»]", content):
        said, fix = "the quotation marks are not plain ones.", 'Use the plain mark: "Great".'
    elif re.match(r"^[+-]?\d+,\d", value):
        said, fix = f"{value} is not a number.", f"Write a point: {value.replace(',', '.', 1)}."
    elif re.match(r"^[+-]?0\d", value):
        said, fix = f"{value} begins with 0.", f"Write {value.lstrip('0') or '0'}."
    elif value.lower() in {"yes", "no", "true", "false", "on", "off"}:
        said, fix = f"{value} is not a value.", "Write true or false, in small letters."
    elif re.search(r"""^("[^"]*|'[^']*)$""", value) or "Illegal character" in what:
        said, fix = (
            "the text is not closed.",
            "Put a quotation mark at both ends, on one line.",
        )
    elif field and re.match(r"^[^\W\d]", value):
        said, fix = "the text has no quotation marks.", f'Write {name} = "{value}".'
    elif field and not value:
        said, fix = "no value is given.", "Write one after the =, or delete the line."
    elif re.match(r"^\s*\[", content) and not field:
        said, fix = "this header is not valid.", "Write [pitch], or with two brackets [[rank]]."
    elif "=" not in content:
        said = "this line is neither a field nor a comment."
        fix = "Write field = value, and # before a comment."
    else:
        said = f"this is not TOML: {what[:1].lower()}{what[1:]}."
        fix = "Write field = value, one on a line, text in quotation marks."
    return Problem(number, name, said, fix)


def _twice(number: int, content: str, name: str) -> Problem:
    header = _HEADER.match(content)
    if header is None:
        return Problem(
            number,
            name,
            "it is given twice in the same table.",
            "Remove one, or begin a new table above it, such as [[rank]].",
        )
    return Problem(
        number,
        header[1],
        "the table is given twice.",
        f"If there may be several, write each with two brackets: [[{header[1]}]].",
    )


def _field_on(content: str) -> str:
    field = _FIELD.match(content)
    return field[1] if field else "file"
