"""Hypothesis strategies: organ descriptions without fault, as values, as text and as organs."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from hypothesis import strategies as st

from walkboard.organ.checking_builds import TUNED_BY
from walkboard.organ.model import Family, Organ
from walkboard.organ.reading import read_organ
from walkboard.scales.keys import Key

Raw = dict[str, Any]

_LOWEST = st.sampled_from(["C2", "C2", "F2", "C3"])
_FEET = {
    Family.OPEN: ["16", "8", "4", "2 2/3", "2", "1 3/5"],
    Family.STOPPED: ["32", "16", "8", "4"],
    Family.CHIMNEY: ["8", "4", "2 2/3"],
    Family.REED: ["32", "16", "8", "4"],
}
_INTERVALS = [1, 5, 8, 12, 15, 19]
_NAMES = st.sampled_from(["Principal", "Bourdon 8′", 'The "old" rank', "Quint [bass] # 3"])
_BARE = set("abcdefghijklmnopqrstuvwxyz0123456789_-")


@st.composite
def descriptions(draw: st.DrawFn) -> Raw:
    """A description as plain values, in which nothing is wrong."""
    divisions = [
        {
            "id": f"d{n}",
            "name": draw(_NAMES),
            "keys": draw(st.integers(24, 61)),
            "lowest": draw(_LOWEST),
            "enclosed": draw(st.booleans()),
        }
        for n in range(draw(st.integers(1, 3)))
    ]
    chests = [
        {"id": f"chest{n}", "division": draw(st.sampled_from(divisions))["id"], "minutes": 1.5}
        for n in range(draw(st.integers(0, 2)))
    ]
    ranks = [_rank(draw, n, divisions, chests) for n in range(draw(st.integers(1, 5)))]
    stops = [
        _stop(draw, n, divisions, draw(st.sampled_from(ranks)))
        for n in range(draw(st.integers(0, 4)))
    ]
    ends = [row["id"] for row in (*divisions, *chests)]
    travel = [{"from": a, "to": b, "minutes": 0.5} for a, b in pairwise(ends)]
    return {
        "format": 1,
        "name": draw(_NAMES),
        "temperament": draw(st.sampled_from(["equal", "young 2", {"fifths": {"G#-Eb": -23.46}}])),
        "pitch": {
            "a4_hz": draw(st.floats(380.0, 480.0)),
            "at_celsius": draw(st.integers(5, 30)),
        },
        "division": divisions,
        "chest": chests,
        "travel": travel,
        "rank": ranks,
        "stop": stops,
    }


def _rank(draw: st.DrawFn, n: int, divisions: list[Raw], chests: list[Raw]) -> Raw:
    division = draw(st.sampled_from(divisions))
    family = draw(st.sampled_from(list(Family)))
    start = Key.parse(division["lowest"]).up(12 * draw(st.integers(0, 1)))
    pipes = draw(st.integers(12, 44))
    rank: Raw = {
        "id": f"d.rank{n}",
        "division": division["id"],
        "name": draw(_NAMES),
        "family": family.value,
        "pipes": pipes,
        "tuned_by": draw(st.sampled_from(TUNED_BY[family])).value,
        "from": start.name,
    }
    if draw(st.booleans()):
        rank["feet"] = draw(st.sampled_from(_FEET[family]))
    else:
        at = sorted(draw(st.sets(st.integers(1, pipes - 1), max_size=3)))
        rank["breaks"] = [
            {"from": start.up(step).name, "interval": draw(st.sampled_from(_INTERVALS))}
            for step in (0, *at)
        ]
    own = [chest["id"] for chest in chests if chest["division"] == division["id"]]
    if own:
        rank["chest"] = draw(st.sampled_from(own))
    optional: Raw = {
        "minutes": 0.75,
        "wind_mm": 90,
        "historic": True,
        "diameter_mm": {"1": 120.5, str(pipes): 20.0},
        "beats": -1.5,
    }
    if family is Family.REED:
        optional["tongue_mm"] = {"1": 80.0}
    for name in draw(st.sets(st.sampled_from(sorted(optional)))):
        rank[name] = optional[name]
    return rank


def _stop(draw: st.DrawFn, n: int, divisions: list[Raw], rank: Raw) -> Raw:
    division = draw(st.sampled_from(divisions))
    lowest = Key.parse(division["lowest"])
    plays: Raw = {"rank": rank["id"], "first_pipe": draw(st.integers(1, rank["pipes"]))}
    start = draw(st.integers(0, division["keys"] - 1))
    plays["from"] = lowest.up(start).name
    room = min(division["keys"] - start, rank["pipes"] - plays["first_pipe"] + 1)
    if draw(st.booleans()):
        plays["to"] = lowest.up(start + draw(st.integers(0, room - 1))).name
    return {
        "id": f"d.stop{n}",
        "name": draw(_NAMES),
        "division": division["id"],
        "plays": [plays],
    }


@st.composite
def texts(draw: st.DrawFn) -> tuple[Raw, str]:
    """A description and a text of it, in one of the many ways that TOML allows."""
    raw = draw(descriptions())
    return raw, "".join(_written(draw, raw))


@st.composite
def organs(draw: st.DrawFn) -> Organ:
    """An organ, checked."""
    _, text = draw(texts())
    return read_organ(text)


def toml(value: object) -> str:
    """A value as TOML writes it within a line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(k)} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return repr(value)


def _key(name: str) -> str:
    return name if set(name.lower()) <= _BARE else toml(name)


def _written(draw: st.DrawFn, raw: Raw) -> list[str]:
    """Lines of a whole description: first the bare fields, as TOML wants it, then the tables."""
    lines = ["# a remark = [not a table]\n"]
    bare = {k: v for k, v in raw.items() if not isinstance(v, list | dict)}
    lines += [_field(draw, k, v) for k, v in bare.items()]
    for name, value in raw.items():
        if isinstance(value, dict):
            lines += [f"[ {name} ]\n", *(_field(draw, k, v) for k, v in value.items())]
        elif isinstance(value, list):
            for table in value:
                lines += _table(draw, name, table)
    return lines


def _table(draw: st.DrawFn, name: str, table: Raw) -> list[str]:
    """Lines of one of several tables; its inner tables within a line or below it."""
    lines = [draw(st.sampled_from(["", "\n", "# remark\n"])), f"[[{name}]]  # {name}\n"]
    below = []
    for key, value in table.items():
        if isinstance(value, dict) and draw(st.booleans()):
            below += [f"[{name}.{key}]\n", *(_field(draw, k, v) for k, v in value.items())]
        elif isinstance(value, list) and draw(st.booleans()):
            for inner in value:
                below += [f"[[{name}.{key}]]\n", *(_field(draw, k, v) for k, v in inner.items())]
        else:
            lines.append(_field(draw, key, value))
    return lines + below


def _field(draw: st.DrawFn, name: str, value: object) -> str:
    key = draw(st.sampled_from([_key(name), toml(name)]))
    if isinstance(value, list) and draw(st.booleans()):
        inner = "".join(f"  {toml(part)},  # one ] more\n" for part in value)
        return f"{key} = [\n{inner}]\n"
    if isinstance(value, str) and draw(st.booleans()) and "'" not in value:
        return f"{key} = '{value}'\n"
    return f"{key}= {toml(value)} # remark\n"
