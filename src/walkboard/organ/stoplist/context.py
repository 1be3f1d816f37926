"""What the previous lines of a stop list say, as far as the next line needs it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Context:
    """What the previous lines say.

    Attributes
    ----------
    division : str
        Id of the division above the line; empty if none.
    is_pedal : bool
    keys : int
        Keys of that division.
    languages : Counter of str
        Number of names read in each language.
    divisions : tuple of (str, bool)
        Every division of the list so far.
    """

    division: str
    is_pedal: bool
    keys: int
    languages: Counter[str]
    divisions: tuple[tuple[str, bool], ...]
