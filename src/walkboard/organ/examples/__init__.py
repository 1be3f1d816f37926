"""The two example descriptions: invented instruments in invented places."""

from __future__ import annotations

from importlib.resources import files


def village() -> str:
    """A village organ: two manuals and pedal, about 400 pipes."""
    return _text("nether-brask.toml")


def hall() -> str:
    """A concert-hall organ: four manuals and pedal, about 2 500 pipes, nearly every feature."""
    return _text("harbour-hall.toml")


def _text(name: str) -> str:
    return files("walkboard.organ.examples").joinpath(name).read_text(encoding="utf-8")
