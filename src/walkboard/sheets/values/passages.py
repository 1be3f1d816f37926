"""What both sheets are made of: labelled figures, and headings with sentences."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fact:
    """A labelled figure: ``Air`` and ``17.2 °C in the Great``."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Passage:
    """A heading and the sentences under it."""

    heading: str
    sentences: tuple[str, ...]
