"""The typed lists: what is in each line, and what a person says it means.

Each line of a file is ``as typed |> what it means``. Meanings: ``D id keys enc`` a division,
``R family feet from= to= celeste`` a rank, ``M rows`` a compound stop, ``X name`` borrowed or
extended from a stop of that name, ``C from>to octave`` a coupler, ``T division`` a tremulant,
``P hz celsius`` the pitch, ``W mm`` the wind, ``TEMP name``, ``TOT pipes``, ``K keys`` a compass
alone, ``TOY``, ``TITLE``, ``N`` a remark, ``ASK`` whatever must be asked about.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from walkboard.organ.stoplist.describing import Described, describe
from walkboard.organ.stoplist.entries import Row, Said
from walkboard.organ.stoplist.reading import read_stop_list

LISTS = sorted((Path(__file__).parent / "lists").glob("*.txt"))
_FACTS = {
    Said.TITLE: "TITLE",
    Said.REMARK: "N",
    Said.UNKNOWN: "ASK",
    Said.TOY: "TOY",
}


@dataclass(frozen=True, slots=True)
class Typed:
    """A list as typed, and the meaning of each of its lines."""

    text: str
    meanings: tuple[str, ...]


@cache
def described(path: Path) -> Described:
    """What the program makes of a list; read once for all the tests."""
    return describe(read_stop_list(typed(path).text))


@cache
def typed(path: Path) -> Typed:
    pairs = [line.rsplit(" |> ", 1) for line in path.read_text("utf-8").rstrip("\n").split("\n")]
    return Typed("\n".join(text for text, _ in pairs), tuple(meaning for _, meaning in pairs))


def meaning(row: Row) -> str:
    """What the program took a line for, in the same words."""
    if row.division is not None:
        enclosed = " enc" if row.division.enclosed else ""
        return f"D {row.division.id} {row.division.keys}{enclosed}"
    if row.stop is not None:
        return _stop(row)
    if row.said is Said.COUPLER:
        return "C " + ", ".join(
            f"{c.from_division}>{c.to_division}"
            + (f" {c.octave:+d}" if c.octave else "")
            + (" off" if c.unison_off else "")
            for c in row.couplers
        )
    values = row.values
    if row.said is Said.TREMULANT:
        return f"T {values['division']}"
    if row.said is Said.PITCH:
        return f"P {values['a4_hz']:g} {values['at_celsius']:g}"
    if row.said is Said.WIND:
        return f"W {values['wind_mm']:g}"
    if row.said is Said.TEMPERAMENT:
        return f"TEMP {values['temperament']}"
    if row.said is Said.TOTAL:
        return f"TOT {values['pipes']:g}"
    if row.said is Said.COMPASS:
        return f"K {values['manual']:g}"
    return _FACTS[row.said]


def _stop(row: Row) -> str:
    stop = row.stop
    assert stop is not None
    if stop.source is not None or stop.role == "resultant":
        return "X"
    reach = f" from={stop.from_key}" if stop.from_key else ""
    reach += f" to={stop.to_key}" if stop.to_key else ""
    if stop.role in {"mixture", "cornet", "sesquialtera", "rauschquint"}:
        return f"M {stop.rows}{reach}"
    celeste = " celeste" if stop.role == "celeste" else ""
    return f"R {stop.family} {stop.feet}{reach}{celeste}"


def agrees(said: str, meant: str) -> bool:
    """Whether what the program says is what the person says, as far as the person says it."""
    if meant.startswith("X"):
        return said == "X"
    if meant.startswith("D "):
        wanted, got = meant.split(), said.split()
        keys = [word for word in wanted if word.isdigit()]
        enclosed = "enc" not in wanted or "enc" in got
        return got[:2] == wanted[:2] and (not keys or got[2] == keys[0]) and enclosed
    if meant.startswith("C3"):
        return said.count(">") == 3
    if meant.startswith("C "):
        return meant[2:] in said[2:].split(", ")
    if meant == "T":
        return said.startswith("T ")
    return said == meant
