"""Prints text and numbers for the command line."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence

import typer


def print_json(value: object) -> None:
    """Print a value as JSON on standard output."""
    typer.echo(json.dumps(value, ensure_ascii=False, indent=1, allow_nan=False))


def print_table(head: Sequence[str], rows: Sequence[Sequence[str]], *, right: str = "") -> None:
    """Print an aligned table.

    Parameters
    ----------
    head : sequence of str
    rows : sequence of sequences of str
    right : str
        One character per column: ``r`` aligns right, anything else left.
    """
    widths = [max(len(row[i]) for row in [head, *rows]) for i in range(len(head))]
    for row in [head, *rows]:
        cells = [
            cell.rjust(width) if right[i : i + 1] == "r" else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        typer.echo("  ".join(cells).rstrip())


def number(value: float | None, form: str, missing: str = "–") -> str:
    """A formatted number, or a dash for None."""
    if value is None:
        return missing
    text = format(value, form)
    # −0.00 says nothing that 0.00 does not.
    return text.replace("-", "+" if form.startswith("+") else "") if _is_zero(text) else text


def _is_zero(text: str) -> bool:
    return text.startswith("-") and not text.strip("-0.")


def say(text: str) -> None:
    """Print a remark on standard error, so that results can be piped."""
    print(text, file=sys.stderr)
