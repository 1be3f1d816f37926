"""Makes a TOML description from a stop list that was read."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from walkboard.organ.keyboards import keyboard, rank_keys
from walkboard.organ.kinds import Build
from walkboard.organ.stoplist.entries import DivisionEntry, Guess, Row, Said, State, StopEntry
from walkboard.organ.stoplist.facts import USUAL_CELSIUS
from walkboard.organ.stoplist.mixtures import broken_at_top, rows_of
from walkboard.organ.stoplist.names import Role, plain
from walkboard.organ.stoplist.reading import StopList
from walkboard.organ.stoplist.sources import feet, taken_from
from walkboard.scales.keys import Key

USUAL_BEATS_HZ = 2.0  # beats of a celeste at A4; common practice, no source
FIFTH_SEMITONES = 7


@dataclass(slots=True)
class _Table:
    """One table of the description, with the comments above it."""

    kind: str
    values: dict[str, Any]
    remarks: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Described:
    """A description made from a stop list.

    Attributes
    ----------
    toml : str
    rows : tuple of Row
        The rows read, with what describing them showed: where borrowed pipes come from, and whether
        the totals agree.
    ids : mapping of str to str
        Id of each row's rank, stop, division, coupler or tremulant, by the line's id.
    """

    toml: str
    rows: tuple[Row, ...]
    ids: Mapping[str, str]


def describe(read: StopList) -> Described:
    """The description of a stop list.

    Parameters
    ----------
    read : StopList

    Returns
    -------
    Described
        Its text may still have problems, for example if the list has no stops.
    """
    return _Describing(read).run()


class _Describing:
    def __init__(self, read: StopList) -> None:
        self.rows = list(read.rows)
        self.divisions = {division.id: division for division in read.divisions}
        self.boards = {d.id: keyboard(Key.parse(d.lowest), _Board(d)) for d in read.divisions}
        self.tables: list[_Table] = []
        self.ids: dict[str, str] = {}
        self.taken: set[str] = set()
        self.rank_of: dict[int, _Table] = {}

    def run(self) -> Described:
        self._head()
        for division in self.divisions.values():
            self._division(division)
        stops = [(n, row.stop) for n, row in enumerate(self.rows) if row.stop is not None]
        own = [stop for _, stop in stops if stop.source is None and stop.role != Role.RESULTANT]
        for n, stop in stops:
            if stop.source is None and stop.role != Role.RESULTANT:
                self._own(n, stop)
        for n, stop in stops:
            if stop.source is not None or stop.role == Role.RESULTANT:
                self._borrowed(n, stop, own)
        self._console()
        self._totals()
        return Described(_toml(self.tables), tuple(self.rows), self.ids)

    def _head(self) -> None:
        values: dict[str, Any] = {"format": 1}
        remarks = [
            "Made from a stop list. Anything the list does not say is marked as a guess:",
            "check it, then record.",
        ]
        title = next((r for r in self.rows if r.said is Said.TITLE), None)
        values["name"] = "Organ" if title is None else title.line.text.strip(" :*=-")
        if title is None:
            remarks.append("guess: name. The list has no title.")
        given = self._value("temperament")
        values["temperament"] = given or "equal"
        if given is None:
            remarks.append("guess: temperament. The list names none; equal is the most common.")
        pitch = self._value("a4_hz")
        at = self._value("at_celsius")
        if pitch is None:
            remarks.append("guess: pitch. The list gives none.")
        self.tables.append(_Table("", values, remarks))
        hz = {"a4_hz": float(pitch or 440.0), "at_celsius": float(at or USUAL_CELSIUS)}
        self.tables.append(_Table("[pitch]", hz))

    def _value(self, name: str) -> Any:
        return next((row.values[name] for row in self.rows if name in row.values), None)

    def _division(self, division: DivisionEntry) -> None:
        values: dict[str, Any] = {"id": division.id, "name": division.name, "keys": division.keys}
        if division.lowest != "C2":
            values["lowest"] = division.lowest
        if division.enclosed:
            values["enclosed"] = True
        if division.octave is not None:
            values["octave"] = division.octave
        if division.missing:
            values["missing"] = list(division.missing)
        row = next((r for r in self.rows if r.division and r.division.id == division.id), None)
        remarks = [] if row is None else _remarks(row)
        if row is not None:
            self.ids[row.line.id] = division.id
        self.tables.append(_Table("[[division]]", values, remarks))

    def _own(self, n: int, stop: StopEntry) -> None:
        """The ranks of a stop with pipes of its own."""
        division = self.divisions[stop.division]
        keys = [
            key
            for key in self.boards[stop.division]
            if (stop.from_key is None or key >= Key.parse(stop.from_key))
            and (stop.to_key is None or key <= Key.parse(stop.to_key))
        ] or list(self.boards[stop.division])
        id_ = self._id(stop.division, stop.name, stop.feet if stop.rows == 1 else "")
        self.ids[self.rows[n].line.id] = id_
        common: dict[str, Any] = {"family": str(stop.family)}
        tail: dict[str, Any] = {"pipes": len(keys), "tuned_by": str(stop.tuned_by)}
        if keys[0].name != division.lowest:
            tail["from"] = keys[0].name
        if stop.build is not Build.PLAIN:
            tail["build"] = str(stop.build)
        if division.wind_mm is not None:
            tail["wind_mm"] = division.wind_mm
        remarks = _remarks(self.rows[n])
        compound = Role(stop.role).is_compound
        if not compound:
            breaks = broken_at_top(stop.feet, keys[0], keys[-1])
            pitch: dict[str, Any] = {"feet": stop.feet}
            if len(breaks) > 1:
                pitch = {"breaks": [{"from": key, "feet": feet_} for key, feet_ in breaks]}
                remarks.append("guess: breaks. Its smallest pipes go back an octave.")
            head = {"id": id_, "division": stop.division, "name": stop.name}
            values = {**head, **common, **pitch, **tail}
            if stop.role == Role.CELESTE:
                values["beats"] = USUAL_BEATS_HZ
            table = _Table("[[rank]]", values, remarks)
            self.tables.append(table)
            self.rank_of[id(stop)] = table
            return
        rows = rows_of(stop.role, stop.rows, stop.feet, stop.intervals, keys[0], keys[-1])
        plays = []
        for place, breaks in enumerate(rows, 1):
            row_id = f"{id_}.{place}"
            plays.append({"rank": row_id})
            pitch = {"feet": breaks[0][1]}
            if len(breaks) > 1:
                pitch = {"breaks": [{"from": key, "feet": feet_} for key, feet_ in breaks]}
            head = {"id": row_id, "division": stop.division, "name": f"{stop.name}, row {place}"}
            self.tables.append(
                _Table(
                    "[[rank]]", {**head, **common, **pitch, **tail}, remarks if place == 1 else []
                )
            )
        self._stop(id_, stop, plays, [])

    def _borrowed(self, n: int, stop: StopEntry, own: list[StopEntry]) -> None:
        """A stop that uses another's pipes, or a resultant."""
        acoustic = stop.role == Role.RESULTANT
        base = self._of_resultant(stop, own) if acoustic else taken_from(stop, own)
        if base is None:
            why = "The list says it is borrowed, but not from where: given pipes of its own."
            if acoustic:
                why = "There is no 16 foot rank to make it from: given pipes of its own."
            self._guess(n, Guess("plays", "", why))
            plain_stop = replace(stop, source=None, role="" if acoustic else stop.role)
            self._own(n, plain_stop)
            return
        table = self.rank_of.get(id(base))
        id_ = self._id(stop.division, stop.name, stop.feet)
        self.ids[self.rows[n].line.id] = id_
        if table is None:  # a compound stop borrowed whole
            base_id = self._stop_id_of(base)
            ranks = (
                [
                    t.values["id"]
                    for t in self.tables
                    if str(t.values["id"]).startswith(f"{base_id}.") and t.kind == "[[rank]]"
                ]
                if base_id
                else []
            )
            self._stop(id_, stop, [{"rank": rank} for rank in ranks], _remarks(self.rows[n]))
            return
        where = f"pipes of {table.values['name']} {base.feet} ({base.division})"
        self._guess(n, Guess("plays", str(table.values["id"]), f"Taken as {where}.", usual=True))
        plays: list[dict[str, Any]] = [{"rank": table.values["id"]}]
        if acoustic:
            plays.append({"rank": table.values["id"], "first_pipe": FIFTH_SEMITONES + 1})
        else:
            self._extend(table, base, stop, plays[0])
        self._own_stop_of(table, base)
        self._stop(id_, stop, plays, _remarks(self.rows[n]))

    def _of_resultant(self, stop: StopEntry, own: list[StopEntry]) -> StopEntry | None:
        here = [
            one for one in own if one.division == stop.division and feet(one) == 16 and not one.role
        ]
        wanted = "" if stop.source is None else stop.source.name
        named = [one for one in here if wanted and wanted in plain(one.name)]
        stopped = [one for one in here if one.family == "stopped"]
        return next(iter([*named, *stopped, *here]), None)

    def _extend(
        self, table: _Table, base: StopEntry, stop: StopEntry, plays: dict[str, Any]
    ) -> None:
        """Set the pipe that a stop begins on, and extend the rank if it needs more pipes above."""
        shift = self._shift(base, stop)
        board, home = self.boards[stop.division], self.boards[base.division]
        start = Key.parse(str(table.values.get("from", home[0].name)))
        keys = rank_keys(home, start, Key.HIGHEST)
        if not shift and stop.division != base.division:
            return
        lowest = max(board[0].semitone + shift, start.semitone)
        if shift:
            plays["first_pipe"] = sum(key.semitone < lowest for key in keys) + 1
            if lowest - shift > board[0].semitone:
                plays["from"] = Key(lowest - shift).name
        need = sum(key.semitone <= board[-1].semitone + shift for key in keys)
        table.values["pipes"] = max(int(table.values["pipes"]), need)

    def _shift(self, base: StopEntry, stop: StopEntry) -> int:
        if not feet(base) or not feet(stop):
            return 0
        return max(0, round(12.0 * math.log2(float(feet(base) / feet(stop)))))

    def _own_stop_of(self, table: _Table, base: StopEntry) -> None:
        """Once another stop draws a rank, the rank's own stop must be written too."""
        id_ = str(table.values["id"])
        if not any(t.kind == "[[stop]]" and t.values["id"] == id_ for t in self.tables):
            self._stop(id_, base, [{"rank": id_}], [])

    def _stop_id_of(self, stop: StopEntry) -> str | None:
        for row in self.rows:
            if row.stop is stop:
                return self.ids.get(row.line.id)
        return None

    def _stop(
        self, id_: str, stop: StopEntry, plays: list[dict[str, Any]], remarks: list[str]
    ) -> None:
        name = f"{stop.name} {stop.feet}".strip() if stop.rows == 1 else f"{stop.name} {stop.rows}"
        values = {"id": id_, "name": name, "division": stop.division, "plays": plays}
        self.tables.append(_Table("[[stop]]", values, remarks))

    def _console(self) -> None:
        for row in self.rows:
            for coupler in row.couplers:
                where = f"{coupler.from_division}-to-{coupler.to_division}"
                kind = {-1: "sub", 0: "", 1: "octave"}[coupler.octave]
                id_ = self._id("", where, kind if not coupler.unison_off else "unison off", "-")
                values: dict[str, Any] = {"id": id_, "name": coupler.name}
                values |= {"from": coupler.from_division, "to": coupler.to_division}
                if coupler.octave:
                    values["octave"] = coupler.octave
                if coupler.unison_off:
                    values["unison_off"] = True
                self.ids.setdefault(row.line.id, id_)
                self.tables.append(_Table("[[coupler]]", values, _remarks(row)))
            if row.said is Said.TREMULANT:
                division = str(row.values["division"])
                id_ = self._id(division, "tremulant", "")
                values = {"id": id_, "name": str(row.values["name"]), "divisions": [division]}
                self.ids[row.line.id] = id_
                self.tables.append(_Table("[[tremulant]]", values, _remarks(row)))
            if row.said is Said.TOY:
                id_ = self._id("", str(row.values["name"]), "")
                self.ids[row.line.id] = id_
                self.tables.append(_Table("[[toy]]", {"id": id_, "name": str(row.values["name"])}))
        pedal = next((d for d in self.divisions.values() if d.attached), None)
        manual = next((d for d in self.divisions.values() if not d.is_pedal), None)
        if pedal is not None and manual is not None:
            id_ = self._id("", f"{manual.id}-to-{pedal.id}", "", "-")
            values = {"id": id_, "name": "Pulldown", "from": manual.id, "to": pedal.id}
            self.tables.append(_Table("[[coupler]]", values))

    def _totals(self) -> None:
        pipes = sum(int(t.values["pipes"]) for t in self.tables if t.kind == "[[rank]]")
        for n, row in enumerate(self.rows):
            if row.said is Said.TOTAL and int(row.values["pipes"]) != pipes:
                said = int(row.values["pipes"])
                question = (
                    f"The list counts {said} pipes, its stops make {pipes}: "
                    f"{abs(said - pipes)} {'too many' if pipes > said else 'too few'}. "
                    "Which compass, mixture or short stop is different?"
                )
                self.rows[n] = replace(row, state=State.ASKED, question=question)

    def _guess(self, n: int, guess: Guess) -> None:
        row = self.rows[n]
        state = row.state if guess.usual else State.GUESSED
        self.rows[n] = replace(row, guesses=(*row.guesses, guess), state=state)

    def _id(self, division: str, name: str, feet_: str, joint: str = "") -> str:
        slug = plain(name).replace(" ", "-") or "stop"
        pitch = feet_.replace(" ", "-").replace("/", "_")
        if "-" in pitch or "_" in pitch:
            pitch = "-" + pitch
        base = (
            f"{division}.{slug}{joint if pitch else ''}{pitch}"
            if division
            else f"{slug}{joint if pitch else ''}{pitch}"
        )
        found, number = base, 2
        while found in self.taken:
            found, number = f"{base}-{number}", number + 1
        self.taken.add(found)
        return found


@dataclass(frozen=True, slots=True)
class _Board:
    """A division's entry in the form that `keyboard` needs."""

    entry: DivisionEntry

    @property
    def keys(self) -> int:
        return self.entry.keys

    @property
    def octave(self) -> str | None:
        return self.entry.octave

    @property
    def missing(self) -> list[str]:
        return list(self.entry.missing)

    @property
    def split(self) -> list[str]:
        return []


def _remarks(row: Row) -> list[str]:
    """The line as written, and the guesses about it."""
    text = re.sub(r"\s+", " ", row.line.text)
    said = [f"line {row.line.number}: {text}"]
    said += [f"guess: {g.field}. {g.why}" for g in row.guesses if not g.usual]
    usual = [g.field for g in row.guesses if g.usual]
    if usual:
        said.append(f"usual: {', '.join(dict.fromkeys(usual))}")
    return said


def _toml(tables: list[_Table]) -> str:
    blocks = []
    for table in tables:
        lines = [f"# {_one_line(remark)}" for remark in table.remarks]
        lines += [table.kind] if table.kind else []
        lines += [f"{name} = {_written(value)}" for name, value in table.values.items()]
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks) + "\n"


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(_one_line(value), ensure_ascii=False)
    if isinstance(value, list):
        return f"[{', '.join(_written(one) for one in value)}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{k} = {_written(v)}' for k, v in value.items())}}}"
    return repr(value)
