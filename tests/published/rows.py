"""The rows of check_values.json, and a register of what is checked against which row."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

TABLE = Path(__file__).parent / "check_values.json"
Answer = float | list[float]


@dataclass(frozen=True)
class Row:
    """One published or computed value with its tolerance and source."""

    id: str
    quantity: str
    inputs: Mapping[str, Any]
    value: Any
    unit: str
    tolerance: float
    source: str
    tag: str
    basis: str


@dataclass(frozen=True)
class Check:
    """What answers the rows of a family, by a pattern that their ids match from end to end."""

    pattern: re.Pattern[str]
    answer: Callable[[Row], Answer]


def rows() -> tuple[Row, ...]:
    return tuple(Row(**row) for row in json.loads(TABLE.read_text(encoding="utf-8")))


class Register:
    """Collects checks; exactly one must answer for a row."""

    def __init__(self) -> None:
        self.checks: list[Check] = []

    def answers(self, pattern: str) -> Callable[[Callable[[Row], Answer]], Callable[[Row], Answer]]:
        def keep(answer: Callable[[Row], Answer]) -> Callable[[Row], Answer]:
            self.checks.append(Check(re.compile(pattern), answer))
            return answer

        return keep

    def constant(self, pattern: str, value: Answer) -> None:
        """A bare fact that is a constant in the program."""
        self.checks.append(Check(re.compile(re.escape(pattern)), lambda _row: value))

    def for_row(self, row: Row) -> list[Check]:
        return [check for check in self.checks if check.pattern.fullmatch(row.id)]
