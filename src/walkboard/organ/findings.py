"""Collects the problems of a description, each with its line and the field's name."""

from __future__ import annotations

from typing import Any

from walkboard.errors import Problem
from walkboard.organ.positions import Path, Positions


class Findings:
    """The problems of one description, noted by path while it is checked.

    Parameters
    ----------
    raw : dict
        The description from ``tomllib``.
    """

    def __init__(self, raw: dict[str, Any]) -> None:
        self._raw = raw
        self._noted: dict[Path, list[tuple[str, str]]] = {}

    def note(self, path: Path, what: str, fix: str) -> None:
        """Note a problem at a path and how to fix it."""
        self._noted.setdefault(path, []).append((what, fix))

    def __bool__(self) -> bool:
        return bool(self._noted)

    def problems(self, text: str) -> tuple[Problem, ...]:
        """Every problem noted, in the order of the description's text."""
        places = Positions(text)
        # something missing at the head of the file is reported at its first line
        return tuple(
            Problem(places.line(path) or 1, self.label(path), what, fix)
            for path in sorted(self._noted, key=lambda path: places.offset(path) or 0)
            for what, fix in self._noted[path]
        )

    def label(self, path: Path) -> str:
        """Name of a field with its table, such as ``rank great.principal4: pipes``."""
        if len(path) >= 2 and isinstance(path[1], int):
            table = self.table(str(path[0]), path[1])
            rest = path[2:]
        else:
            table, rest = str(path[0]), path[1:]
        parts = [table]
        for part in rest:
            if isinstance(part, int):
                parts[-1] += f" {part + 1}"
            else:
                parts.append(part)
        return ": ".join(parts)

    def table(self, kind: str, number: int) -> str:
        """Name of one of several tables: its id if it has one, else its number."""
        row = self._raw[kind][number]
        id_ = row.get("id") if isinstance(row, dict) else None
        if isinstance(id_, str) and id_:
            return f"{kind} {id_}"
        return f"{kind} no. {number + 1}"
