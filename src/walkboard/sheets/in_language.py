"""A sheet in the language that is spoken: its English sentences translated before it is drawn."""

from __future__ import annotations

import dataclasses
from enum import Enum
from typing import Any, TypeVar

from walkboard.languages import spoken
from walkboard.languages.translation import translate
from walkboard.sheets.front_page.news import FrontPage

_AS_IT_IS = {"move", "square", "address", "ending", "stops"}  # codes and drawings
_Sheet = TypeVar("_Sheet")


def in_language(sheet: _Sheet) -> _Sheet:
    """The sheet with every text in the language that is spoken.

    Users' own words (`walkboard.languages.translation.Own`) stay as they are, and so does page 1,
    which has its own texts in each language.
    """
    if spoken.language() == spoken.ENGLISH:
        return sheet
    turned: _Sheet = _turned(sheet)
    if any(field.name == "language" for field in dataclasses.fields(turned)):  # type: ignore[arg-type]
        turned = dataclasses.replace(turned, language=spoken.language())  # type: ignore[type-var]
    return turned


def _turned(value: Any) -> Any:
    if isinstance(value, (Enum, FrontPage)):
        return value
    if isinstance(value, str):
        return translate(value)
    if isinstance(value, tuple):
        return tuple(_turned(item) for item in value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        changes = {
            field.name: _turned(getattr(value, field.name))
            for field in dataclasses.fields(value)
            if field.init and field.name not in _AS_IT_IS
        }
        return dataclasses.replace(value, **changes)
    return value
