"""Plausible ranges of figures: one place for commands, pages, imports and the book.

A figure outside its range is a typing error, another unit, or a broken file. NaN and infinity are
outside every range.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from walkboard.errors import InputError


@dataclass(frozen=True, slots=True)
class Range:
    """The range of a quantity, both ends included.

    Attributes
    ----------
    what : str
        The quantity, as it begins a sentence.
    low, high : float
    unit : str
    hint : str
        What a figure outside was probably meant to be, or empty.
    """

    what: str
    low: float
    high: float
    unit: str
    hint: str = ""

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high  # false for NaN

    def check(self, value: float, *, what: str = "", where: str = "") -> float:
        """Return the figure if it is in range.

        Parameters
        ----------
        value : float
            In the range's unit.
        what : str
            Names the figure; if empty, the quantity's name.
        where : str
            The file or field.

        Raises
        ------
        InputError
            If it is out of range.
        """
        if value in self:
            return value
        hint = f" {self.hint}" if self.hint else ""
        raise InputError(
            f"{what or self.what} of {value:g} {self.unit} is out of range.",
            where=where,
            fix=f"It must be from {self.low:g} to {self.high:g} {self.unit}.{hint}",
        )

    def check_each(self, values: Mapping[str, float], *, what: str = "") -> None:
        """Check the figures of several divisions; InputError names the first that is out of range.

        Parameters
        ----------
        values : mapping of str to float
            By division.
        what : str
        """
        for division, value in values.items():
            self.check(value, what=f"{what or self.what} at {division}")


# All chosen: wide enough for any church or hall that is tuned in, narrow enough for a slip to show.
AIR_CELSIUS = Range("Air", -10.0, 45.0, "°C", "Did you give °F?")
HUMIDITY_PERCENT = Range("Relative humidity", 1.0, 100.0, "%", "Write 55 for 55 %, not 0.55.")
HUMIDITY = Range("Relative humidity", 0.01, 1.0, "as a part of 1")
WIND_MM = Range("Wind", 10.0, 3000.0, "mm of water", "Did you give inches?")
VISIT_MINUTES = Range("A visit", 1.0, 14_400.0, "minutes")  # ten days
PLAN_MINUTES = Range("A plan", 0.0, 14_400.0, "minutes")
EVENT_YEAR = Range("The year of an event", 1900, 2200, "")
