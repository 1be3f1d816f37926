"""The page that lists every field of the organ description, made from the models.

``python builders/docs.py`` writes it to ``docs/organ-fields.md``.
"""

from __future__ import annotations

import re
from enum import StrEnum
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from walkboard.organ.checking_builds import TUNED_BY
from walkboard.organ.description import (
    ChestTable,
    CouplerTable,
    Description,
    DivisionTable,
    OrganTable,
    PitchTable,
    PlaysTable,
    StopTable,
    TemperamentTable,
    ToyTable,
    TravelTable,
    TremulantTable,
)
from walkboard.organ.rank_tables import (
    BreakTable,
    CelesteTable,
    ChangeTable,
    FrontTable,
    PartTable,
    RankTable,
)

# Title of a section, its table, and what stands above it.
SECTIONS: list[tuple[str, type[BaseModel], str]] = [
    ("Head of the file", Description, "The tables below follow it."),
    ("`[pitch]`", PitchTable, ""),
    ("`[temperament]`", TemperamentTable, "In place of a name at the head of the file."),
    ("`[[division]]`", DivisionTable, ""),
    ("`[[rank]]`", RankTable, "Give `feet` or `breaks`."),
    ("`breaks` of a rank", BreakTable, "Give `interval` or `feet`."),
    ("`parts` of a rank", PartTable, ""),
    ("`celeste` of a rank", CelesteTable, "Give `cents` or `beats`."),
    ("`front` of a rank", FrontTable, ""),
    ("`changes` of a rank", ChangeTable, ""),
    ("`[[stop]]`", StopTable, ""),
    ("`plays` of a stop", PlaysTable, ""),
    ("`[[coupler]]`", CouplerTable, ""),
    ("`[[tremulant]]`", TremulantTable, ""),
    ("`[[toy]]`", ToyTable, ""),
    ("`[[organ]]`", OrganTable, ""),
    ("`[[chest]]`", ChestTable, ""),
    ("`[[travel]]`", TravelTable, ""),
]


def fields_page() -> str:
    """The page as Markdown."""
    parts = [
        "# Every field of the organ description",
        "",
        "Written by `python builders/docs.py` from the program's own models. How to use them:",
        "[organ-description.md](organ-description.md).",
    ]
    for title, model, note in SECTIONS:
        parts += ["", f"## {title}", "", *([note, ""] if note else [])]
        parts += ["| field | needed | what it holds |", "| --- | --- | --- |"]
        parts += [_row(name, info) for name, info in model.model_fields.items()]
    parts += ["", "## What is moved to tune", "", "| `family` | `tuned_by` |", "| --- | --- |"]
    parts += [
        f"| `{family}` | {', '.join(f'`{way}`' for way in ways)} |"
        for family, ways in TUNED_BY.items()
    ]
    return "\n".join(parts) + "\n"


def _row(name: str, info: FieldInfo) -> str:
    parts = [_described(info)]
    low, high = _limit(info, "ge"), _limit(info, "le")
    if low is not None and high is not None:
        parts.append(f"{low:g} to {high:g}.".replace("-", "−"))
    words = _words(info.annotation)
    if words:
        parts.append(f"One of {', '.join(f'`{word}`' for word in words)}.")
    if isinstance(info.default, str | int | float) and info.default not in {False, ""}:
        parts.append(f"Default: `{info.default}`.")
    needed = "yes" if info.is_required() else "no"
    return f"| `{info.alias or name}` | {needed} | {' '.join(t for t in parts if t)} |"


def _described(info: FieldInfo) -> str:
    text = info.description or ""
    if not text:
        model = next((m for m in _models(info.annotation)), None)
        text = (model.__doc__ or "").split("\n")[0] if model is not None else ""
    return re.sub(r"\s+", " ", text)


def _limit(info: FieldInfo, name: str) -> Any:
    return next((getattr(m, name) for m in info.metadata if hasattr(m, name)), None)


def _words(annotation: Any) -> list[str]:
    if isinstance(annotation, type) and issubclass(annotation, StrEnum):
        return [member.value for member in annotation]
    if get_origin(annotation) is Literal:
        return [str(word) for word in get_args(annotation)]
    return [word for inner in get_args(annotation) for word in _words(inner)]


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in get_args(annotation) for model in _models(inner)]
