"""The firm as a TOML file: tuners, towns, organs, key holders, closed days."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from walkboard.errors import InputError
from walkboard.parsing import toml_table
from walkboard.work.organ_files import cannot_read

MOST_HOURS_A_WEEK = 100.0  # a plausible figure is below it

_Name = Annotated[str, Field(min_length=1, max_length=200)]
_Hours = Annotated[float, Field(gt=0.0, le=MOST_HOURS_A_WEEK, allow_inf_nan=False)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Days(_Table):
    """Days in a row, both ends included."""

    first: date
    last: date
    why: str = ""


class TownTable(_Table):
    """A town, by its coordinates [degrees]."""

    name: _Name
    latitude: Annotated[float, Field(ge=-90.0, le=90.0)]
    longitude: Annotated[float, Field(ge=-180.0, le=180.0)]


class DrivingTable(_Table):
    """Minutes on the road between two towns, one way, where someone knows them."""

    between: tuple[_Name, _Name]
    minutes: Annotated[float, Field(ge=0.0, le=1440.0, allow_inf_nan=False)]


class TunerTable(_Table):
    """Someone who tunes."""

    name: _Name
    home: _Name
    hours_a_week: _Hours = 40.0
    off: tuple[Days, ...] = ()


class KeyHolderTable(_Table):
    """Someone who holds keys, perhaps in several places."""

    name: _Name
    hours_a_week: _Hours
    off: tuple[Days, ...] = ()


class OrganTable(_Table):
    """An organ that the firm keeps.

    Attributes
    ----------
    name : str
        As in the book.
    hours : float or None
        That a visit takes; None: as the last visit's minutes, or three hours.
    weight : float
        How much its events count; 1 for an ordinary organ.
    """

    name: _Name
    town: _Name
    hours: _Hours | None = None
    weight: Annotated[float, Field(ge=0.0, le=100.0, allow_inf_nan=False)] = 1.0
    key_holder: str = ""
    tuners: tuple[_Name, ...] = ()
    not_before: date | None = None
    not_after: date | None = None
    closed: tuple[Days, ...] = ()
    most_visits: Annotated[int, Field(ge=0, le=8)] = 1


class FirmFile(_Table):
    """The whole file."""

    format: Annotated[int, Field(ge=1, le=1)]
    tuner: Annotated[tuple[TunerTable, ...], Field(min_length=1)]
    town: tuple[TownTable, ...]
    organ: Annotated[tuple[OrganTable, ...], Field(min_length=1)]
    driving: tuple[DrivingTable, ...] = ()
    key_holder: tuple[KeyHolderTable, ...] = ()
    closed: tuple[Days, ...] = ()


def read_firm(path: Path) -> FirmFile:
    """Read the firm.

    Raises
    ------
    InputError
        If the file cannot be read, is not TOML, lacks something, or names a town, tuner or key
        holder that it does not list.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise cannot_read(path, error) from error
    except UnicodeDecodeError as error:
        raise InputError("This is not UTF-8 text.", where=str(path)) from error
    try:
        firm = FirmFile.model_validate(toml_table(text))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = _place(first["loc"])
        raise InputError(f"{place}: {first['msg']}.", where=str(path), fix=_EXAMPLE) from error
    except ValueError as error:
        raise InputError(f"This is not TOML: {error}.", where=str(path)) from error
    _check_names(firm, str(path))
    return firm


_EXAMPLE = "See docs/round.md for a whole file."


def _place(loc: Iterable[int | str]) -> str:
    words = [f"number {part + 1}" if isinstance(part, int) else str(part) for part in loc]
    return " ".join(words) or "the file"


def _check_names(firm: FirmFile, where: str) -> None:
    towns = [town.name for town in firm.town]
    tuners = [tuner.name for tuner in firm.tuner]
    holders = [holder.name for holder in firm.key_holder]
    organs = [organ.name for organ in firm.organ]
    for what, names in (
        ("town", towns), ("tuner", tuners), ("key holder", holders), ("organ", organs),
    ):  # fmt: skip
        twice = {name for name in names if names.count(name) > 1}
        if twice:
            raise InputError(f"The {what} {min(twice)!r} is listed twice.", where=where)
    for tuner in firm.tuner:
        _known(tuner.home, towns, f"the home of {tuner.name}", "town", where)
    for drive in firm.driving:
        for name in drive.between:
            _known(name, towns, "a drive", "town", where)
    for organ in firm.organ:
        _known(organ.town, towns, f"the organ {organ.name}", "town", where)
        if organ.key_holder:
            _known(organ.key_holder, holders, f"the organ {organ.name}", "key holder", where)
        for name in organ.tuners:
            _known(name, tuners, f"the organ {organ.name}", "tuner", where)
    days = [*firm.closed]
    for tuner in firm.tuner:
        days += tuner.off
    for holder in firm.key_holder:
        days += holder.off
    for organ in firm.organ:
        days += organ.closed
    for span in days:
        if span.last < span.first:
            raise InputError(
                f"{span.first.isoformat()} to {span.last.isoformat()} ends before it begins.",
                where=where,
            )


def _known(name: str, names: list[str], who: str, what: str, where: str) -> None:
    if name in names:
        return
    near = difflib.get_close_matches(name, names, n=1)
    fix = f"Did you mean {near[0]!r}?" if near else f"Add a [[{what.replace(' ', '_')}]] table."
    raise InputError(f"There is no {what} {name!r}, as {who} says.", where=where, fix=fix)
