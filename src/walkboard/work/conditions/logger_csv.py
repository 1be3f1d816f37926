"""Reads a logger's CSV: columns are guessed and shown, and doubts become questions.

Loggers write commas or semicolons, decimal points or commas, one column for the time or two, days
first or months first, degrees Celsius or Fahrenheit, with or without header lines. The guess is
shown before anything is stored, and each part of it can be overridden.
"""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

from walkboard.book.venue.records import AirLog
from walkboard.errors import InputError
from walkboard.physics.room import celsius_of_fahrenheit

_MOST_COLUMNS = 100  # loggers have up to a dozen channels. Chosen.
LARGEST_BYTES = 64 * 2**20
_LINES_LOOKED_AT = 400
_COLDEST, _WARMEST = -40.0, 70.0  # °C that a logger can report
_DELIMITERS = (";", "\t", ",")
_WARM_WORDS = ("temp", "celsius", "°c", "degc", "°f", "(c)", "(f)", "wärme", "température")
_DAMP_WORDS = ("hum", "feucht", "rh", "hygro", "%")
_NOT_AIR = ("dew", "tau", "rosée", "batt", "volt")
_FORMATS = (
    "%Y-%m-%d %H:%M:%S",
    "%Y-%m-%d %H:%M",
    "%Y/%m/%d %H:%M:%S",
    "%Y/%m/%d %H:%M",
    "%d.%m.%Y %H:%M:%S",
    "%d.%m.%Y %H:%M",
    "%d.%m.%y %H:%M:%S",
    "%d.%m.%y %H:%M",
    "%d/%m/%Y %H:%M:%S",
    "%d/%m/%Y %H:%M",
    "%m/%d/%Y %H:%M:%S",
    "%m/%d/%Y %H:%M",
    "%m/%d/%y %H:%M:%S",
    "%m/%d/%Y %I:%M:%S %p",
    "%m/%d/%y %I:%M:%S %p",
    "%d-%m-%Y %H:%M:%S",
    "%d-%m-%Y %H:%M",
)


@dataclass(frozen=True, slots=True)
class Guess:
    """How a file is written, as guessed.

    Attributes
    ----------
    delimiter : str
    decimal : str
    first_line : int
        First line with readings, from 0.
    time_columns : tuple of int
        One column, or date and time.
    time_format : str
        As for `datetime.strptime`; or ``iso`` or ``unix``.
    celsius_column : int
    humidity_column : int or None
    is_fahrenheit : bool
    """

    delimiter: str
    decimal: str
    first_line: int
    time_columns: tuple[int, ...]
    time_format: str
    celsius_column: int
    humidity_column: int | None
    is_fahrenheit: bool


@dataclass(frozen=True, slots=True)
class ReadLog:
    """What a file contains.

    Attributes
    ----------
    guess : Guess
    words : tuple of str
        The guess in words, to be confirmed.
    questions : tuple of str
        Doubts that only a person can resolve.
    log : AirLog
    left_out : int
        Number of lines that were not readings.
    columns : tuple of str
        The heading of each column; empty if the file has none.
    """

    guess: Guess
    words: tuple[str, ...]
    questions: tuple[str, ...]
    log: AirLog
    left_out: int
    columns: tuple[str, ...] = ()


def read_log(
    data: bytes,
    *,
    place: str,
    file_name: str,
    zone: tzinfo,
    shift: timedelta = timedelta(0),
    **said: object,
) -> ReadLog:
    """Read a logger's file.

    Parameters
    ----------
    data : bytes
    place : str
        A division's id, or ``outdoors``.
    file_name : str
    zone : tzinfo
        Time zone of the logger's clock, if its times do not say.
    shift : timedelta
        Added to every time: how slow the clock was.
    said
        Fields of `Guess` that the user overrides.

    Raises
    ------
    InputError
        If no column of times and temperatures can be found.
    """
    lines = _text(data, file_name).splitlines()
    rows = _rows(lines, _delimiter(lines, file_name), file_name)
    guess = replace(_guess(lines, rows, file_name, said.get("celsius_column")), **said)  # type: ignore[arg-type]
    times: list[datetime] = []
    celsius: list[float] = []
    humidity: list[float | None] = []
    left_out = 0
    for row in rows[guess.first_line :]:
        read = _reading(row, guess, zone)
        if read is None:
            left_out += any(cell.strip() for cell in row)
            continue
        times.append(read[0] + shift)
        celsius.append(read[1])
        humidity.append(read[2])
    if len(times) < 2:
        raise _not_a_log(file_name, "fewer than two of its lines are readings")
    questions = [] if guess.time_format not in _either_way(rows, guess) else [_DAY_OR_MONTH]
    order = sorted(range(len(times)), key=lambda n: times[n])
    if order != list(range(len(times))):
        questions.append(
            "The times do not always rise: did the clock go back an hour, or was the logger reset?"
        )
    kept = [n for at, n in enumerate(order) if at == 0 or times[n] > times[order[at - 1]]]
    start = times[kept[0]]
    damp = [humidity[n] for n in kept]
    log = AirLog(
        place=place,
        file_name=file_name,
        starts_at=start,
        minutes=tuple((times[n] - start).total_seconds() / 60.0 for n in kept),
        celsius=tuple(celsius[n] for n in kept),
        humidity=tuple(d for d in damp if d is not None) if None not in damp else (),
    )
    left_out += len(times) - len(kept)
    head = rows[guess.first_line - 1] if guess.first_line else []
    width = len(rows[guess.first_line])
    columns = tuple(cell.strip() for cell in (*head, *([""] * width))[:width])
    return ReadLog(guess, _said(guess, log), tuple(questions), log, left_out, columns)


def other_order(time_format: str) -> str | None:
    """The same date format with day and month swapped; None if it has no such pair."""
    for one, other in (("%d/%m", "%m/%d"), ("%m/%d", "%d/%m")):
        if one in time_format:
            return time_format.replace(one, other)
    return None


_DAY_OR_MONTH = "Every date can be read day first or month first: which is it?"


def _text(data: bytes, where: str) -> str:
    if len(data) > LARGEST_BYTES:
        raise _not_a_log(where, "it is larger than 64 MB")
    for encoding in ("utf-8-sig", "utf-16" if data[:2] in {b"\xff\xfe", b"\xfe\xff"} else "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return data.decode("latin-1")


def _delimiter(lines: Sequence[str], where: str) -> str:
    """The delimiter that splits most lines into the same number of cells, more than one."""
    looked_at = [line for line in lines[:_LINES_LOOKED_AT] if line.strip()]
    best, best_score = "", 0
    for sign in _DELIMITERS:
        counts = [line.count(sign) for line in looked_at if line.count(sign)]
        if counts:
            usual = max(set(counts), key=counts.count)
            score = counts.count(usual)
            if score > best_score:
                best, best_score = sign, score
    if not best:
        raise _not_a_log(where, "its lines are not divided into columns")
    return best


def _rows(lines: Sequence[str], delimiter: str, where: str) -> list[list[str]]:
    try:
        rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter))
    except csv.Error as error:
        raise _not_a_log(where, str(error)) from None
    if max(map(len, rows), default=0) > _MOST_COLUMNS:  # every pair of them could be the times
        raise _not_a_log(where, f"it has more than {_MOST_COLUMNS} columns")
    return rows


def _guess(lines: Sequence[str], rows: list[list[str]], where: str, column: object = None) -> Guess:
    delimiter = _delimiter(lines, where)
    usual = max(
        (len(row) for row in rows[-_LINES_LOOKED_AT:] if row),
        key=[len(row) for row in rows[-_LINES_LOOKED_AT:]].count,
    )
    body = [row for row in rows if len(row) == usual]
    sample = body[-_LINES_LOOKED_AT:]
    decimal = "," if delimiter != "," and _any_decimal_comma(sample) else "."
    time_columns, time_format = _times(sample, where)
    first = next(
        n for n, row in enumerate(rows) if _time(row, time_columns, time_format) is not None
    )
    head = [cell.casefold() for cell in rows[first - 1]] if first else []
    head += [""] * (usual - len(head))
    numbers = [
        n
        for n in range(usual)
        if n not in time_columns
        and _share(sample, n, decimal) > 0.8
        and not any(word in head[n] for word in _NOT_AIR)
    ]
    damp = next((n for n in numbers if any(w in head[n] for w in _DAMP_WORDS)), None)
    warm = next((n for n in numbers if n != damp and any(w in head[n] for w in _WARM_WORDS)), None)
    if isinstance(column, int):
        if not 0 <= column < usual:
            raise _not_a_log(where, f"it has no column {column + 1}")
        warm = column
    if warm is None:
        # Without headings: the first column that is not a running number.
        warm = next((n for n in numbers if n != damp and not _counts(sample, n, decimal)), None)
    if warm is None:
        raise _not_a_log(where, "no column holds temperatures")
    if damp is None and not any(head):
        after = [n for n in numbers if n > warm]
        damp = next((n for n in after if _within(sample, n, decimal, 0.0, 100.0)), None)
    mean = [v for row in sample if (v := _number(row[warm], decimal)) is not None]
    named = re.search(r"°\s*f|fahrenheit|\(f\)|degf", head[warm]) is not None
    is_fahrenheit = named or (
        not re.search(r"°\s*c|celsius|\(c\)", head[warm]) and sorted(mean)[len(mean) // 2] > 45.0
    )
    return Guess(delimiter, decimal, first, time_columns, time_format, warm, damp, is_fahrenheit)


def _times(sample: list[list[str]], where: str) -> tuple[tuple[int, ...], str]:
    """Where the times are and how they are written: the format that reads the most lines."""
    width = len(sample[0])
    best: tuple[int, tuple[int, ...], str] = (0, (), "")
    for columns in [*((n,) for n in range(width)), *((n, n + 1) for n in range(width - 1))]:
        for form in ("iso", *_FORMATS, "unix"):
            if _time(sample[len(sample) // 2], columns, form) is None:
                continue
            read = sum(_time(row, columns, form) is not None for row in sample)
            if read > best[0]:
                best = read, columns, form
    if best[0] < 0.8 * len(sample):
        raise _not_a_log(where, "no column holds dates and times that can be read")
    return best[1], best[2]


def _time(row: list[str], columns: tuple[int, ...], form: str) -> datetime | None:
    if max(columns) >= len(row):
        return None
    text = " ".join(row[n].strip() for n in columns)
    try:
        if form == "iso":
            # A bare number or date is not an instant.
            return datetime.fromisoformat(text) if re.search(r"\d[T ]\d\d:\d\d", text) else None
        if form == "unix":
            return datetime.fromtimestamp(int(text), UTC) if re.fullmatch(r"1\d{9}", text) else None
        return datetime.strptime(text, form)  # noqa: DTZ007 - the zone is the caller's
    except ValueError:
        return None


def _reading(
    row: list[str], guess: Guess, zone: tzinfo
) -> tuple[datetime, float, float | None] | None:
    if len(row) <= guess.celsius_column:
        return None
    at = _time(row, guess.time_columns, guess.time_format)
    value = _number(row[guess.celsius_column], guess.decimal)
    if at is None or value is None:
        return None
    celsius = celsius_of_fahrenheit(value) if guess.is_fahrenheit else value
    if not _COLDEST <= celsius <= _WARMEST:
        return None  # such as 85 °C or −127 °C, which a disconnected sensor reports
    damp = None
    if guess.humidity_column is not None and guess.humidity_column < len(row):
        percent = _number(row[guess.humidity_column], guess.decimal)
        if percent is not None and 0.0 <= percent <= 100.0:
            damp = percent / 100.0
    return at if at.tzinfo is not None else at.replace(tzinfo=zone), celsius, damp


def _number(text: str, decimal: str) -> float | None:
    plain = text.strip().rstrip("%°CF ").replace("−", "-")
    if decimal == ",":
        plain = plain.replace(",", ".")
    return float(plain) if re.fullmatch(r"[+-]?\d{1,4}(\.\d+)?", plain) else None


def _share(sample: list[list[str]], column: int, decimal: str) -> float:
    return sum(_number(row[column], decimal) is not None for row in sample) / len(sample)


def _counts(sample: list[list[str]], column: int, decimal: str) -> bool:
    values = [_number(row[column], decimal) for row in sample]
    steps = [b - a for a, b in itertools.pairwise(values) if a is not None and b is not None]
    return bool(steps) and all(step == 1.0 for step in steps)


def _within(sample: list[list[str]], column: int, decimal: str, low: float, high: float) -> bool:
    values = [v for row in sample if (v := _number(row[column], decimal)) is not None]
    return all(low <= v <= high for v in values)


def _any_decimal_comma(sample: list[list[str]]) -> bool:
    return any(re.fullmatch(r"\s*[+-]?\d+,\d+\s*\D{0,3}", cell) for row in sample for cell in row)


def _either_way(rows: list[list[str]], guess: Guess) -> set[str]:
    """The swapped format, if it would read every line just as well."""
    form = guess.time_format
    other = other_order(form)
    if other is None:
        return set()
    body = rows[guess.first_line :]
    mine = [row for row in body if _time(row, guess.time_columns, form) is not None]
    if all(_time(row, guess.time_columns, other) is not None for row in mine):
        return {form}
    return set()


def _said(guess: Guess, log: AirLog) -> tuple[str, ...]:
    columns = " and ".join(str(n + 1) for n in guess.time_columns)
    unit = "°F" if guess.is_fahrenheit else "°C"
    last = log.starts_at + timedelta(minutes=log.minutes[-1])
    words = [
        (
            f"Time from column {columns}, first {log.starts_at:%Y-%m-%d %H:%M}, last"
            f" {last:%Y-%m-%d %H:%M}."
        ),
        (
            f"Temperature from column {guess.celsius_column + 1} in {unit}:"
            f" {min(log.celsius):.1f} to {max(log.celsius):.1f} °C."
        ),
    ]
    if log.humidity:
        words.append(
            f"Humidity from column {(guess.humidity_column or 0) + 1}:"
            f" {100 * min(log.humidity):.0f} to {100 * max(log.humidity):.0f} %."
        )
    return tuple(words)


def read_log_file(
    path: Path, *, place: str, zone: tzinfo, shift: timedelta = timedelta(0), **said: object
) -> ReadLog:
    """The same from a file; InputError if it cannot be read."""
    from walkboard.work.organ_files import cannot_read

    try:
        data = path.read_bytes()
    except OSError as error:
        raise cannot_read(path, error) from None
    return read_log(data, place=place, file_name=path.name, zone=zone, shift=shift, **said)


def _not_a_log(where: str, why: str) -> InputError:
    return InputError(
        f"This is not a readable air log: {why}.",
        where=where,
        fix="Export it as CSV with a date, a time and a temperature on each line.",
    )
