"""The round of a book with a firm's file in its folder, kept there for the pages.

The firm is in ``firm.toml``, the round in ``worked-out/the-round.json``. A new round keeps to the
one before, as ``walkboard round --keep`` does.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from walkboard.errors import InputError
from walkboard.parsing import json_value
from walkboard.work import open_book
from walkboard.work.learned_drift import FOLDER
from walkboard.work.rounds.calendars import tuner_calendar
from walkboard.work.rounds.firm_file import read_firm
from walkboard.work.rounds.make_round import first_monday, forecasts_for, make_round
from walkboard.work.rounds.round_map import map_of
from walkboard.work.rounds.to_json import read_round, round_json
from walkboard.work.write_files import write_file

FIRM = "firm.toml"
_ROUND = "the-round.json"
WEEKS = 26  # half a year: beyond it calendars are empty. Chosen.


@dataclass(frozen=True, slots=True)
class KeptRound:
    """A round that was planned.

    Attributes
    ----------
    at : datetime
        When.
    document : dict
        As `walkboard.work.rounds.to_json.round_json` writes it.
    map : str
        SVG.
    """

    at: datetime
    document: dict[str, Any]
    map: str


def has_firm(folder: Path) -> bool:
    """Whether a book's folder has a firm's file."""
    return (folder / FIRM).is_file()


def kept_round(folder: Path) -> KeptRound | None:
    """The last round planned; None if there is none, or its file is damaged."""
    try:
        found = json_value((folder / FOLDER / _ROUND).read_bytes())
        return KeptRound(datetime.fromisoformat(found["at"]), found, str(found["map"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def plan_kept_round(progress: Callable[[float, float], None], folder: Path, today: date) -> None:
    """Plan the round for half a year from next week and keep it.

    Parameters
    ----------
    progress : callable
        Given organs done and organs in all.
    folder : Path
        The book's.
    today : date

    Raises
    ------
    InputError
        If the firm's file cannot be used, or the round cannot be written.
    """
    firm = read_firm(folder / FIRM)
    start = first_monday(None, today)
    place = folder / FOLDER / _ROUND
    before = read_round(place) if kept_round(folder) is not None else ()
    with open_book.opened(folder) as book:
        forecasts = forecasts_for(book, firm, start, WEEKS, progress=progress)
    made = make_round(firm, forecasts, start, WEEKS, before=before)
    document = {**round_json(made), "at": open_book.now().isoformat(), "map": map_of(firm, made)}
    try:
        place.parent.mkdir(exist_ok=True)
    except OSError as error:
        raise InputError(
            f"The round cannot be kept: {error.strerror or error}.", where=str(folder)
        ) from error
    write_file(json.dumps(document, ensure_ascii=False).encode(), place, what="round")


def calendar_of(folder: Path, tuner: str) -> bytes | None:
    """A tuner's calendar of the round that was planned last; None if it has no such tuner."""
    found = kept_round(folder)
    if found is None or tuner not in found.document["hours_left"]:
        return None
    return tuner_calendar(tuner, read_round(folder / FOLDER / _ROUND), found.at)
