"""Turns pydantic's errors about a field into a tuner's words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from walkboard.organ.description import Description
from walkboard.organ.fields import FORMAT, KEY_PATTERN, SPLIT_PATTERN, words_allowed
from walkboard.organ.hints import feet_hint, field_hint, key_hint, word_hint
from walkboard.organ.nearest import did_you_mean, likeliest
from walkboard.organ.positions import Path

_WANTED = {
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "finite_number": "a finite number",
    "string_type": "text in quotation marks",
    "bool_type": "true or false",
    "dict_type": "a table",
    "model_type": "a table",
    "list_type": "a list",
}
_RELATION = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}


@dataclass(frozen=True, slots=True)
class Slip:
    """One error from pydantic.

    Attributes
    ----------
    path : Path
    kind : str
        ``missing``, ``unknown``, or pydantic's own name for it.
    value : object
        The value in the file.
    context : dict
        Limits and expected values.
    """

    path: Path
    kind: str
    value: object
    context: dict[str, Any]

    @classmethod
    def of(cls, path: Path, found: ErrorDetails) -> Slip:
        """The slip for one of pydantic's errors."""
        kind = "unknown" if found["type"] == "extra_forbidden" else found["type"]
        return cls(path, kind, found.get("input"), found.get("ctx", {}))


def unknown_field(slip: Slip, missing: Sequence[str]) -> tuple[str, str, str | None]:
    """What is wrong with an unknown field, how to fix it, and the missing field probably meant."""
    word = str(slip.path[-1])
    meant = likeliest(word, missing)
    if meant is not None:
        return "there is no such field.", f"Did you mean {meant}?", meant
    hint = field_hint(word) if len(slip.path) > 1 else None
    if hint is not None:
        return "there is no such field.", hint, None
    there_are = _fields(slip.path[:-1])
    return "there is no such field.", did_you_mean(word, there_are, "field"), None


def wording(slip: Slip) -> tuple[str, str]:
    """What is wrong with a field and how to fix it."""
    name, info = str(slip.path[-1]), _field(slip.path)
    example = _example(name, info)
    shown = _shown(slip.value)
    if slip.kind == "missing":
        return "it is missing.", f"Add {example}" if example else _add_table(slip.path)
    if slip.kind == "literal_error" and slip.path == ("format",):
        return (
            f"{shown} is not a format that this version reads.",
            f"Write format = {FORMAT}, or use a newer version.",
        )
    if slip.kind in {"enum", "literal_error"}:
        return f"{shown} is not one of the allowed words.", _one_of(slip, info)
    if slip.kind in _RELATION:
        key, relation = _RELATION[slip.kind]
        return f"{shown} is out of range.", f"Write {relation} {slip.context[key]:g}."
    if slip.kind == "string_pattern_mismatch":
        return _pattern_wording(slip, shown)
    if slip.kind == "too_short":
        return "the list is empty.", "Put something in it, or leave it out."
    if slip.kind == "list_type" and len(slip.path) == 1:
        return "there may be several.", f"Write [[{name}]], with two brackets."
    if slip.kind == "model_type" and len(slip.path) == 1:
        return "there may be only one.", f"Write [{name}], with one bracket."
    if name == "feet" and isinstance(slip.value, float):
        hint = feet_hint(slip.value)
        if hint is not None:
            return f"feet are written in quotation marks, not as {shown}.", hint
    wanted = _WANTED.get(slip.kind, "another value")
    fix = f"Write {example}" if example else f"Write {wanted}."
    return f"this must be {wanted}, not {shown}.", fix


def _pattern_wording(slip: Slip, shown: str) -> tuple[str, str]:
    if slip.context["pattern"] == KEY_PATTERN:
        hint = key_hint(str(slip.value))
        if hint is not None:
            return f"{shown} is not how keys are named here.", hint
        return (
            f"{shown} is not the name of a key.",
            "Write a letter, # or b where needed, and the octave: C2, F#3, Bb4.",
        )
    if slip.context["pattern"] == SPLIT_PATTERN:
        return f"{shown} is not a sharp.", 'Name the sharps that are split: ["Eb", "G#"].'
    if slip.path[-1] == "id":
        fix = "Write it without spaces, commas and colons, such as great.principal8."
        return f"{shown} is not an id.", fix
    if slip.path[-1] == "name":
        return f"{shown} is not a name.", 'Write it on one line, for example name = "Principal 8".'
    return f"{shown} is not the number of a pipe.", "Count from 1, as {1 = 152.0, 13 = 91.0}."


def _one_of(slip: Slip, info: FieldInfo | None) -> str:
    """How to fix a word that is not allowed."""
    kind = None if info is None else info.annotation
    hint = word_hint(str(slip.path[-1]), str(slip.value))
    if hint is not None:
        return hint
    words = words_allowed(kind)
    return did_you_mean(str(slip.value), words, str(slip.path[-1]))


def _add_table(path: Path) -> str:
    """How to fix a missing table."""
    name, info = path[-1], _field(path)
    several = info is not None and get_origin(info.annotation) is list
    model = _model(path)
    needed = [
        field.alias or name
        for name, field in ({} if model is None else model.model_fields).items()
        if field.is_required()
    ]
    head = f"[[{name}]]" if several else f"[{name}]"
    return f"Add {head} with {', '.join(needed)}."


def _example(name: str, info: FieldInfo | None) -> str:
    """How a field is written, such as ``pipes = 61.``; empty if there is no example."""
    if info is None or not info.examples:
        return ""
    return f"{name} = {_toml(info.examples[0])}."


def _toml(value: object) -> str:
    """A value as written in a description."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value).lower()


def _shown(value: object) -> str:
    """A value as in the file, shortened."""
    if isinstance(value, str):
        short = value if len(value) <= 40 else value[:37] + "…"
        return f'"{short}"'.replace("\n", "\\n")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        digits = repr(value)
        return digits if len(digits) <= 24 else digits[:20] + "…"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    return f"the {type(value).__name__} {value}"


def _fields(path: Path) -> list[str]:
    """Names of the fields of the table at a path."""
    model = _model(path)
    return [] if model is None else [f.alias or name for name, f in model.model_fields.items()]


def inner_table(model: type[BaseModel], field: str) -> type[BaseModel] | None:
    """The table that a field of another table contains, as spelled in the file, or None."""
    for name, info in model.model_fields.items():
        if field == (info.alias or name):
            return _inner_model(info.annotation)
    return None


def _field(path: Path) -> FieldInfo | None:
    """The field at a path; None within tables with free keys."""
    model = _model(path[:-1])
    if model is None:
        return None
    for name, info in model.model_fields.items():
        if path[-1] == (info.alias or name):
            return info
    return None


def _model(path: Path) -> type[BaseModel] | None:
    """The table at a path."""
    model: type[BaseModel] | None = Description
    for number, part in enumerate(path):
        if isinstance(part, int):
            continue
        info = _field(path[: number + 1])
        model = None if info is None else _inner_model(info.annotation)
    return model


def _inner_model(annotation: object) -> type[BaseModel] | None:
    """The table within an annotation such as ``list[RankTable] | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation):
        found = _inner_model(inner)
        if found is not None:
            return found
    return None
