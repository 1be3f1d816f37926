"""Stop lists by someone who never saw the parser, with what each line means; and how to judge them.

`strangers.txt`: ``=== name`` begins a list, each line is ``as typed ## what it means``. Meanings:
``stop DIVISION [feet] [family] [flags]``, ``division NAME``, ``coupler n=COUNT``, ``tremulant
DIVISION``, ``fact ...`` and ``note`` (never a stop, never dropped). What a meaning leaves out may
come out either way. The organs are invented, the names are the trade's.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path

from walkboard.organ.kinds import Build
from walkboard.organ.stoplist.describing import Described, describe
from walkboard.organ.stoplist.entries import Row, Said, State, StopEntry
from walkboard.organ.stoplist.reading import read_stop_list
from walkboard.scales.keys import Key

FILE = Path(__file__).parent / "strangers.txt"
COMPOUND = {"mixture", "cornet", "sesquialtera", "rauschquint"}
_BUILDS = {
    "harmonic": Build.HARMONIC, "half": Build.HALF_LENGTH, "free": Build.FREE_REED,
}  # fmt: skip
_FEET_WITHIN = 0.01
# Old lists round: a 3' is a twelfth of 2 2/3', a 1 1/2' a larigot. Common practice, no source.
_ROUNDED = {3.0: 8.0 / 3.0, 1.5: 4.0 / 3.0}
_A_NOTE = {Said.REMARK, Said.UNKNOWN, Said.TITLE, Said.TOY, Said.TOTAL, Said.WIND, Said.COMPASS}


@dataclass(frozen=True, slots=True)
class Judged:
    """One line: what was typed, what it means, and what came out otherwise; empty if nothing."""

    name: str
    text: str
    meant: str
    wrong: tuple[str, ...]
    state: State

    @property
    def is_unmarked(self) -> bool:
        """Whether something is wrong and the program does not say that it is unsure."""
        return bool(self.wrong) and self.state is State.UNDERSTOOD


@cache
def lists() -> dict[str, tuple[tuple[str, str], ...]]:
    """Each list's lines as typed, with their meanings."""
    found: dict[str, list[tuple[str, str]]] = {}
    for line in FILE.read_text("utf-8").splitlines():
        if line.startswith("=== "):
            own = found.setdefault(line[4:], [])
        elif line:
            typed, _, meant = line.rpartition(" ## ")
            own.append((typed, meant))
    return {name: tuple(lines) for name, lines in found.items()}


@cache
def described_list(name: str) -> Described:
    return describe(read_stop_list("\n".join(typed for typed, _ in lists()[name])))


def judged_list(name: str) -> list[Judged]:
    """Every line of a list against its meaning."""
    by_line: dict[int, list[Row]] = {}
    for row in described_list(name).rows:
        by_line.setdefault(row.line.number, []).append(row)
    found, division = [], None
    for number, (typed, meant) in enumerate(lists()[name], 1):
        rows = by_line.get(number, [])
        states = {row.state for row in rows}
        state = next((s for s in (State.ASKED, State.GUESSED) if s in states), State.UNDERSTOOD)
        if meant.startswith("division"):
            division = next((r.division.id for r in rows if r.division is not None), None)
        wrong = _wrong(rows, meant.split(), division)
        found.append(Judged(name, typed, meant, tuple(wrong), state))
    return found


def _wrong(rows: list[Row], meant: list[str], division: str | None) -> list[str]:
    kinds = {row.said for row in rows}
    values = {name: value for row in rows for name, value in row.values.items()}
    kind, rest = meant[0], meant[1:]
    if not rows:
        return ["dropped"]
    if kind == "note":
        return [] if kinds <= _A_NOTE else [f"not a note but {sorted(kinds)}"]
    if kind == "coupler":
        count = sum(len(row.couplers) for row in rows)
        return [] if f"n={count}" in rest else [f"{count} couplers"]
    if kind == "tremulant":
        return [] if Said.TREMULANT in kinds else [f"{sorted(kinds)}"]
    if kind == "fact":
        return [w for w in (_fact(fact, kinds, values) for fact in rest) if w]
    if kind == "division":
        return _division(rows, rest[1:])
    stop = next((row.stop for row in rows if row.stop is not None), None)
    if rest[-1] == "ask":
        return [] if any(row.state is State.ASKED for row in rows) else ["not asked"]
    if stop is None:
        return [f"no stop but {sorted(kinds)}"]
    wrong = [w for fact in rest[1:] if (w := _of_stop(stop, fact))]
    if division is not None and stop.division != division and rest[0] != "pedal":
        wrong.append(f"division {stop.division}")
    return wrong


def _fact(fact: str, kinds: set[Said], values: dict[str, str | float]) -> str:
    name, _, given = fact.partition("=")
    if name in {"pitch", "temp"}:
        value = values.get({"pitch": "a4_hz", "temp": "at_celsius"}[name])
        return "" if value == float(given) else f"{name} {value}"
    if name == "pipes":
        return "" if values.get("pipes") == float(given) else f"pipes {values.get('pipes')}"
    if name == "temperament":
        return "" if values.get("temperament") else "no temperament"
    if name == "short":
        return "" if values.get("manual_octave") == "short" else "not short"
    if name == "compass" and "manual" in values:
        return ""
    wanted = {"compass": {Said.COMPASS, Said.DIVISION}, "wind": {Said.WIND}}[name]
    return "" if kinds & wanted or f"{name}_mm" in values else f"not {name}: {sorted(kinds)}"


def _division(rows: list[Row], facts: list[str]) -> list[str]:
    division = next((row.division for row in rows if row.division is not None), None)
    if division is None:
        return [f"no division but {sorted({row.said for row in rows})}"]
    wrong = []
    lowest = Key.parse(division.lowest)
    for fact in facts:
        name, _, given = fact.partition("=")
        if name == "keys" and division.keys != int(given):
            wrong.append(f"{division.keys} keys")
        elif name == "compass":
            low, high = (_key(one) for one in given.split("-"))
            top = lowest.up(division.keys - 1 + len(division.missing))
            if (lowest.semitone, top.semitone) != (low, high):
                wrong.append(f"compass {lowest.name} to {top.name}")
        elif name == "missing" and not any(key.startswith(given) for key in division.missing):
            wrong.append(f"missing {division.missing}")
    return wrong


def _of_stop(stop: StopEntry, fact: str) -> str:
    name, equals, given = fact.partition("=")
    if equals:
        key = {"from": stop.from_key, "to": stop.to_key}.get(name)
        if name in {"from", "to"}:
            right = key is not None and Key.parse(key).semitone == _key(given)
            return "" if right else f"{name} {key}"
        value = {"ranks": stop.rows, "pipes": stop.pipes}[name]
        return "" if value == int(given) else f"{name} {value}"
    if re.fullmatch(r"[\d.]+", name):
        feet = stop.feet or (stop.intervals[0] if stop.intervals else "")
        length = float(sum(Fraction(part) for part in feet.split())) if feet else 0.0
        meant = _ROUNDED.get(float(name), float(name))
        return "" if abs(length - meant) < _FEET_WITHIN else f"feet {feet or '?'}"
    if name == "mixture":
        return "" if stop.role in COMPOUND else f"role {stop.role or 'plain'}"
    if name == "celeste":
        return "" if stop.role == "celeste" else f"role {stop.role or 'plain'}"
    if name in _BUILDS:
        return "" if stop.build is _BUILDS[name] else f"build {stop.build}"
    if name in {"borrowed", "extended"}:
        return "" if stop.source is not None else "pipes of its own"
    return "" if stop.family == name else f"family {stop.family}"


def _key(name: str) -> int:
    """Semitone of a key in Helmholtz's letters: C is the lowest of an organ, c1 middle C."""
    letter, octave = name[0], name[1:]
    base = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}[letter.lower()]
    if letter.isupper():
        return 36 + base
    return 48 + 12 * int(octave or 0) + base
