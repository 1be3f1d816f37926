"""Numbers, dates and times as the pages show them."""

from __future__ import annotations

from datetime import UTC, date, datetime

from walkboard.desk.text.catalogue import say
from walkboard.sheets import wording

MISSING = "–"


def written(figure: str) -> str:
    """A figure as English writes it, with the decimal mark of the language."""
    return figure.replace(".", say("frame.script.decimal"))


def decimal(value: float | None, decimals: int = 1) -> str:
    """``4.8``, or ``4,8`` in German and French; a dash where there is no value."""
    return MISSING if value is None else written(f"{value:.{decimals}f}")


def in_a_field(value: float | None) -> str:
    """A figure as somebody would type it in a field; empty where there is no value."""
    return "" if value is None else written(f"{value:g}")


def signed(value: float | None, decimals: int = 1) -> str:
    """``+4.8``, ``−7.2``, ``0.0``; a dash where there is no value."""
    return MISSING if value is None else written(wording.signed(value, decimals))


def local(value: datetime) -> datetime:
    """An instant in the machine's own time; one at the edge of the calendar is left as it is.

    Somebody's calendar has an event in the year 9999, and no page may fail for it.
    """
    try:
        return value.astimezone()
    except (OverflowError, ValueError):
        return value


def day(value: datetime | None) -> str:
    """``14 March 2026`` in the machine's own time; a dash if there is none."""
    return MISSING if value is None else date_words(local(value).date())


def month(value: datetime) -> str:
    """``3/2026`` in the machine's own time."""
    return f"{local(value):%-m/%Y}"


def date_words(value: date) -> str:
    """The same of a date."""
    months = say("frame.months").split()
    return say("frame.day", day=value.day, month=months[value.month - 1], year=value.year)


def clock(value: datetime) -> str:
    """``09:05`` in the machine's own time."""
    return local(value).strftime("%H:%M")


def days_since(value: datetime) -> int:
    """Whole days from an instant to now, by the machine's calendar."""
    return (datetime.now(UTC).astimezone().date() - local(value).date()).days


def celsius(value: float | None) -> str:
    """An air temperature with its unit; a dash if there is none."""
    return MISSING if value is None else written(wording.celsius(value))


def hertz(value: float | None) -> str:
    """A frequency without its unit; a dash if there is none."""
    return MISSING if value is None else written(wording.hertz(value))


def minutes(value: float | None) -> str:
    """Minutes with their unit; a dash if there is none."""
    return MISSING if value is None else written(wording.minutes(value))
