"""Reads lines about the whole organ: pitch, temperament, wind, totals."""

from __future__ import annotations

import re
from dataclasses import replace
from types import MappingProxyType

from walkboard.errors import UnknownNameError
from walkboard.organ.stoplist.entries import Guess, Line, Row, Said, State
from walkboard.organ.stoplist.figures import decimal
from walkboard.organ.stoplist.names import plain
from walkboard.scales.temperament import known

USUAL_CELSIUS = (
    18.0  # used if a list gives a pitch without a temperature; common practice, no source
)
MM_OF_INCH = 25.4

_HZ = re.compile(r"(\d{3}(?:[.,]\d+)?)\s*(?:hz|hertz|cps)\b", re.IGNORECASE)
_A_IS = re.compile(
    r"\b(?:a|la)\s*[1-4]?'?\s*(?:=\s*)?(4[0-9]\d(?:[.,]\d+)?)(?!\w)"
    r"|\b(?:a|la)\s*[1-4]?'?\s*=\s*(\d{3}(?:[.,]\d+)?)",
    re.IGNORECASE,
)
_CELSIUS = re.compile(
    r"(\d{1,2}(?:[.,]\d+)?)\s*(?:°\s*C?(?![\w])|(?:deg(?:rees?)?|grad|gr\.|graden|gradi)\s*C?\b"
    r"|C(?:elsius)?\b)",
    re.IGNORECASE,
)
_FAHRENHEIT = re.compile(r"(\d{2}(?:[.,]\d+)?)\s*°?\s*F(?:ahrenheit)?\b")
_TEMPERED = re.compile(
    r"\b(?:stimmung|temperatur|temperament|tempérament|temperamento|stemming|tuning|accord"
    r"|accordatura|afinación)\b\s*(?:nach|:|=|after|by|of|selon|naar|según|secondo)?\s*(?:nach\s+)?(.*)$",
    re.IGNORECASE,
)
_WIND = re.compile(
    r"\b(?:wind(?:druck| pressure)?|winddruk|pression(?: du vent)?|pressione|presión|pressure)\b"
    r"[^\d]*(\d{1,3}(?:[.,]\d+)?|\d\s+\d/\d)\s*(mm|cm|in\b|inch(?:es)?|\"|'')?",
    re.IGNORECASE,
)
WIND_BESIDE = re.compile(
    r"(\d(?:[.,]\d+|\s+\d/\d)?)\s*(\"|''|in\b|inch(?:es)?)\s*(?:wind|w\.?g\.?|pressure)?",
    re.IGNORECASE,
)
_TOTAL = re.compile(
    r"\b(?:total|totals|in all|insgesamt|gesamt|zusammen|totaal|totale|en tout)\b\D*"
    r"(\d{1,2}[ .,]\d{3}|\d{2,5})(?!\d)"
    r"|^\W*(\d{3,5})\s*(?:pipes|pfeifen|tuyaux|pijpen|canne|tubos)\W*$",
    re.IGNORECASE,
)
# Other ways in which lists refer to temperaments.
_CALLED = {
    "equal": "equal", "equal temperament": "equal", "gleichstufig": "equal",
    "gleichschwebend": "equal",
    "egal": "equal", "evenredig zwevend": "equal", "gelijkzwevend": "equal", "equabile": "equal",
    "igual": "equal", "mitteltonig": "meantone 1/4", "meantone": "meantone 1/4",
    "quarter comma meantone": "meantone 1/4", "mesotonique": "meantone 1/4",
    "mesotonique au quart de comma": "meantone 1/4",
    "tempere egal": "equal",
    "middentoon": "meantone 1/4", "middentoons": "meantone 1/4", "mesotonico": "meantone 1/4",
    "meantone quarter": "meantone 1/4", "1 4 comma meantone": "meantone 1/4",
    "1 5 komma": "meantone 1/5", "werckmeister": "werckmeister iii", "kirnberger": "kirnberger iii",
}  # fmt: skip


def read_fact(line: Line, text: str) -> Row | None:
    """What a line says about the whole organ; None if it is about something else.

    A line often says several things; the row has them all, and takes its kind from the first.
    """
    found = [
        row
        for row in (_total(line, text), _pitch(line, text), _wind(line, text))
        if row is not None
    ]
    if not found:
        return _temperament(line, text)
    values = {name: value for row in reversed(found) for name, value in row.values.items()}
    guesses = tuple(guess for row in found for guess in row.guesses)
    tempered = None if "temperament" in values else _tempered_beside(line, text)
    if tempered is not None:
        values |= tempered.values
        guesses += tempered.guesses
    state = State.UNDERSTOOD if all(guess.usual for guess in guesses) else State.GUESSED
    return Row(line, found[0].said, state, guesses, values=MappingProxyType(values))


def _total(line: Line, text: str) -> Row | None:
    match = _TOTAL.search(text)
    if match is None:
        return None
    pipes = float(re.sub(r"\D", "", match[1] or match[2]))
    return Row(line, Said.TOTAL, values=MappingProxyType({"pipes": pipes}))


def _pitch(line: Line, text: str) -> Row | None:
    match = _HZ.search(text) or _A_IS.search(text)
    if match is None:
        return None
    a4_hz = decimal(next(one for one in match.groups() if one))
    if not 300.0 <= a4_hz <= 600.0:
        return None
    values: dict[str, str | float] = {"a4_hz": a4_hz, "at_celsius": USUAL_CELSIUS}
    rest = text[match.end() :] + " " + text[: match.start()]
    celsius, fahrenheit = _CELSIUS.search(rest), _FAHRENHEIT.search(rest)
    if celsius is not None:
        values["at_celsius"] = decimal(celsius[1])
    elif fahrenheit is not None:
        values["at_celsius"] = round((decimal(fahrenheit[1]) - 32.0) / 1.8, 1)
    else:
        why = "The list gives no temperature with its pitch."
        guess = Guess("at_celsius", f"{USUAL_CELSIUS:g}", why)
        return Row(line, Said.PITCH, State.GUESSED, (guess,), values=MappingProxyType(values))
    return Row(line, Said.PITCH, values=MappingProxyType(values))


def _tempered_beside(line: Line, text: str) -> Row | None:
    """The temperament that a line gives along with something else: ``a' = 440 Hz, Vallotti``.

    An unknown name becomes a guess with a question.
    """
    parts = [text, *re.split(r"\s*[,;()|·]\s*|\.\s+", text)]
    rows = [
        _temperament(line, part)
        for part in parts
        if part.strip() and not (_HZ.search(part) or _A_IS.search(part) or _WIND.search(part))
    ]
    known_one = next((row for row in rows if row is not None and row.values), None)
    if known_one is not None:
        return known_one
    asked = next((row for row in rows if row is not None and row.question), None)
    if asked is None or not re.search(r"[^\W\d]{4}", asked.question.partition(" is ")[2]):
        return None
    return replace(asked, guesses=(Guess("temperament", "", asked.question),))


def _wind(line: Line, text: str) -> Row | None:
    match = _WIND.search(text)
    if match is None:
        return None
    mm = wind_mm(match[1], match[2] or "")
    if mm is None:
        return None
    guesses = () if match[2] else (Guess("wind_mm", f"{mm:g}", "Taken as millimetres of water."),)
    state = State.GUESSED if guesses else State.UNDERSTOOD
    return Row(line, Said.WIND, state, guesses, values=MappingProxyType({"wind_mm": mm}))


def wind_mm(number: str, unit: str) -> float | None:
    """Wind pressure [mm of water] from a number and its unit; None if no organ has it."""
    if "/" in number:
        whole, part = number.split()
        top, bottom = part.split("/")
        size = int(whole) + int(top) / int(bottom)
    else:
        size = decimal(number)
    unit = unit.lower()
    if unit.startswith(("in", '"', "''")) or (not unit and size < 20.0):
        size *= MM_OF_INCH
    elif unit == "cm":
        size *= 10.0
    return round(size, 1) if 20.0 <= size <= 2600.0 else None


def _temperament(line: Line, text: str) -> Row | None:
    match = _TEMPERED.search(text)
    named = text if match is None else match[1] or text[: match.start()]
    for written in (named, text[: match.start()] if match is not None else ""):
        name = temperament_of(written)
        if name is not None:
            exact = plain(written) == plain(name)
            why = f"{written.strip()} is taken as {name}."
            guesses = () if exact else (Guess("temperament", name, why, usual=True),)
            values = MappingProxyType({"temperament": name})
            return Row(line, Said.TEMPERAMENT, guesses=guesses, values=values)
    if match is not None and match[1]:
        question = f"Which temperament is {match[1].strip()}?"
        return Row(line, Said.UNKNOWN, State.ASKED, question=question)
    return None


def temperament_of(written: str) -> str | None:
    """Name of the temperament meant; None if it is not a known one."""
    words = plain(written)
    if words in _CALLED:
        return _CALLED[words]
    for name in (written.strip(" .,:"), words):
        if not name:
            continue
        try:
            return known(name).name
        except UnknownNameError:
            continue
    return None
