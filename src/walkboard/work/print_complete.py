"""Writes the sheet of a complete tuning."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.errors import InputError
from walkboard.languages import spoken
from walkboard.scales.key_names import Names
from walkboard.sheets.wording import naming_keys
from walkboard.work.open_book import now
from walkboard.work.write_files import write_file

if TYPE_CHECKING:
    from walkboard.organ.model import Organ
    from walkboard.planning.complete import CompleteTuning


def print_complete(
    organ: Organ,
    found: CompleteTuning,
    path: Path,
    first_day: str | None,
    names: Names = Names.SCIENTIFIC,
    *,
    language: str | None = None,
) -> None:
    """Write a complete tuning as PDF.

    Parameters
    ----------
    organ : Organ
    found : CompleteTuning
    path : Path
    first_day : str or None
        ISO 8601 date of the first day; None is today.
    names : Names
        How keys are named.
    language : str or None
        BCP 47; None for the current language.

    Raises
    ------
    InputError
        If the date is not valid, or the file cannot be written.
    """
    from walkboard.sheets.complete import complete_sheet
    from walkboard.sheets.typesetting import render_pdf

    try:
        first = now().date() if first_day is None else date.fromisoformat(first_day)
    except ValueError:
        raise InputError(f"{first_day!r} is not a date.", fix="Write it as 2027-03-14.") from None
    with spoken.speaking(language or spoken.language()), naming_keys(names):
        made = render_pdf(complete_sheet(organ, found, first))
    write_file(made, path, what="the sheet")
