"""Output of ``walkboard organ from``, as text and as JSON."""

from __future__ import annotations

from typing import Any

import typer

from walkboard.organ.stoplist.entries import Row, State
from walkboard.work.organ_from import FromStops


def tell_guesses(made: FromStops) -> None:
    """Print questions, then guesses, then a count, to standard error."""
    asked = [row for row in made.rows if row.state is State.ASKED]
    guessed = [row for row in made.rows if row.state is State.GUESSED]
    for row in asked:
        typer.echo(f"line {row.line.number}: {row.line.text}: {row.question}", err=True)
    for row in guessed:
        why = " ".join(guess.why for guess in row.guesses if not guess.usual)
        typer.echo(f"line {row.line.number}: {row.line.text}: guessed. {why}", err=True)
    for problem in made.problems:
        typer.echo(f"description, {problem}", err=True)
    understood = len(made.rows) - len(asked) - len(guessed)
    typer.echo(
        f"{understood} lines understood, {len(guessed)} guessed, {len(asked)} to answer.", err=True
    )


def stops_json(made: FromStops, file: str) -> dict[str, Any]:
    """The same as plain values, with the description."""
    return {
        "format": 1,
        "file": file,
        "lines": [row_json(row, made.ids.get(row.line.id)) for row in made.rows],
        "problems": [
            {"line": p.line, "field": p.field, "what": p.what, "mend": p.fix} for p in made.problems
        ],
        "toml": made.toml,
    }


def row_json(row: Row, id_: str | None) -> dict[str, Any]:
    """One line as plain values."""
    return {
        "line": row.line.number,
        "text": row.line.text,
        "said": row.said.value,
        "state": row.state.value,
        "id": id_,
        "question": row.question,
        "guesses": [
            {"field": g.field, "value": g.value, "why": g.why, "usual": g.usual}
            for g in row.guesses
        ],
    }
