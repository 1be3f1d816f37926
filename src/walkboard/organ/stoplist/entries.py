"""What the lines of a stop list say, as frozen values, with all guesses and their reasons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

from walkboard.organ.kinds import Build, Family, TunedBy


class Said(StrEnum):
    """What a line is about."""

    TITLE = "title"
    DIVISION = "division"
    STOP = "stop"
    COUPLER = "coupler"
    TREMULANT = "tremulant"
    TOY = "toy"
    PITCH = "pitch"
    TEMPERAMENT = "temperament"
    WIND = "wind"
    COMPASS = "compass"
    TOTAL = "total"
    REMARK = "remark"
    UNKNOWN = "unknown"


class State(StrEnum):
    """How well a line is understood."""

    UNDERSTOOD = "understood"
    GUESSED = "guessed"
    ASKED = "asked"
    """Not understood: someone must say what it is."""


@dataclass(frozen=True, slots=True)
class Guess:
    """One value that the list does not give, and why it was chosen.

    Attributes
    ----------
    field : str
        Field of the description, or of the table on the page.
    value : str
    why : str
        One sentence.
    usual : bool
        Whether it is simply usual for a stop of that name; with only such guesses the line counts
        as understood.
    """

    field: str
    value: str
    why: str
    usual: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list, or one cell of a table in it.

    Attributes
    ----------
    number : int
        Line number in the pasted list, from 1.
    text : str
        As written, without spaces at the ends.
    column : int
        Column in a table of divisions side by side, from 1; 0 if there is no such table.
    """

    number: int
    text: str
    column: int = 0

    @property
    def id(self) -> str:
        """``12``, or ``12.2`` in a table: the key for changes."""
        return f"{self.number}.{self.column}" if self.column else str(self.number)


@dataclass(frozen=True, slots=True)
class DivisionEntry:
    """A division, from its heading and the lines about its compass."""

    id: str
    name: str
    keys: int
    lowest: str = "C2"
    enclosed: bool = False
    is_pedal: bool = False
    octave: str | None = None
    missing: tuple[str, ...] = ()
    wind_mm: float | None = None
    attached: bool = False


@dataclass(frozen=True, slots=True)
class Source:
    """The source of a borrowed or extended stop, as far as the list says.

    Attributes
    ----------
    name : str
        Name of the stop; may be empty.
    division : str
        Id of the division; empty: the same one.
    number : int or None
        The stop's number in the list.
    feet : str
        Feet of the stop; may be empty.
    """

    name: str = ""
    division: str = ""
    number: int | None = None
    feet: str = ""


@dataclass(frozen=True, slots=True)
class StopEntry:
    """A stop, from its line.

    Attributes
    ----------
    name : str
        Name without feet and remarks.
    division : str
        Id.
    family, tuned_by, build
        Of its pipes.
    feet : str
        Feet as in the description; empty for a mixture without a given pitch.
    rows : int
        1, or how many ranks a compound stop has.
    intervals : tuple of str
        Feet of each row at the lowest key, if the list gives them.
    role : str
    from_key, to_key : str or None
        Lowest and highest key, if not the full compass.
    pipes : int or None
        Number of pipes, if the list gives it.
    number : int or None
        Its number in the list.
    source : Source or None
        Set if it is borrowed or extended.
    scale : str
    partial : int or None
        The most prominent partial.
    """

    name: str
    division: str
    family: Family
    tuned_by: TunedBy
    feet: str
    build: Build = Build.PLAIN
    rows: int = 1
    intervals: tuple[str, ...] = ()
    role: str = ""
    from_key: str | None = None
    to_key: str | None = None
    pipes: int | None = None
    number: int | None = None
    source: Source | None = None
    scale: str = ""
    partial: int | None = None


@dataclass(frozen=True, slots=True)
class CouplerEntry:
    """A coupler."""

    name: str
    from_division: str
    to_division: str
    octave: int = 0
    unison_off: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """How one line was understood.

    Attributes
    ----------
    line : Line
    said : Said
    state : State
    guesses : tuple of Guess
    question : str
        What to ask the user if it was not understood; may be empty.
    division : DivisionEntry or None
    stop : StopEntry or None
    couplers : tuple of CouplerEntry
    values : mapping of str to str or float
        Other values: ``a4_hz``, ``at_celsius``, ``temperament``, ``wind_mm``, ``pipes``, …
    """

    line: Line
    said: Said
    state: State = State.UNDERSTOOD
    guesses: tuple[Guess, ...] = ()
    question: str = ""
    division: DivisionEntry | None = None
    stop: StopEntry | None = None
    couplers: tuple[CouplerEntry, ...] = ()
    values: Mapping[str, str | float] = field(default_factory=lambda: MappingProxyType({}))
