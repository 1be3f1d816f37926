"""What every sheet with a heading has."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetHead:
    """The head of a sheet.

    Attributes
    ----------
    title, heading, organ : str
        ``title`` names the document, ``heading`` is printed above its first page.
    day : date
        The date of the document.
    strip : str
        One line for the head of every page.
    language : str
        BCP 47.
    """

    title: str
    heading: str
    organ: str
    day: date
    strip: str
    language: str = "en"
