"""The two descriptions that are shipped: invented instruments in invented places."""

from __future__ import annotations

from importlib.resources import files


def village() -> str:
    """A village organ: two manuals and pedal, about 400 pipes."""
    return _text("nether-brask.toml")


def hall() -> str:
    """A concert-hall organ: four manuals and pedal, about 2 500 pipes, nearly everything in it."""
    return _text("harbour-hall.toml")


def _text(name: str) -> str:
    return files("walkboard.organ.examples").joinpath(name).read_text(encoding="utf-8")
