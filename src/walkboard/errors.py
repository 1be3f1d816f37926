"""The few error classes: each says what is wrong, where, and how to fix it.

WalkboardError
├── InputError            what was given cannot be used
│   ├── DescriptionError  an organ description with its list of problems
│   ├── SoundError        a recording that cannot be read
│   └── UnknownNameError  a stop, rank, key, temperament … that does not exist
├── BookError             the tuning book cannot do what was asked; nothing was changed
└── NotEnoughMinutesError what a plan must do does not fit in the minutes
"""

from __future__ import annotations

import copyreg
from dataclasses import dataclass


class WalkboardError(Exception):
    """Root of all errors that a user can fix.

    Parameters
    ----------
    what : str
        What is wrong, one sentence.
    where : str
        The file, the place in it, or the thing concerned; may be empty.
    fix : str
        What to write instead, or what to do next; may be empty.
    """

    def __init__(self, what: str, *, where: str = "", fix: str = "") -> None:
        self.what = what
        self.where = where
        self.fix = fix
        super().__init__(what)

    def __reduce__(self) -> tuple[object, ...]:
        # Rebuilt from its state, not from a subclass's arguments: errors come back from other
        # processes.
        return copyreg.__newobj__, (type(self), *self.args), self.__dict__  # type: ignore[attr-defined]

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        fix = f" {self.fix}" if self.fix else ""
        return f"{place}{self.what}{fix}"


class InputError(WalkboardError):
    """What was given cannot be used."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in an organ description.

    Attributes
    ----------
    line : int or None
        Line in the file, from 1; None if no line can be named.
    field : str
        The field, with its table and id, as ``rank great.principal4: pipes``.
    what : str
        What is wrong.
    fix : str
        What to write instead.
    """

    line: int | None
    field: str
    what: str
    fix: str

    def __str__(self) -> str:
        place = "" if self.line is None else f"line {self.line}: "
        return f"{place}{self.field}: {self.what} {self.fix}".rstrip()


class DescriptionError(InputError):
    """An organ description that has problems; all of them at once.

    Parameters
    ----------
    problems : tuple of Problem
        Every problem found, in the order of the file.
    where : str
        The file's name.
    """

    def __init__(self, problems: tuple[Problem, ...], *, where: str = "") -> None:
        self.problems = problems
        count = f"{len(problems)} problem{'' if len(problems) == 1 else 's'}"
        super().__init__(f"The organ description has {count}.", where=where)

    def __str__(self) -> str:
        return "\n".join([super().__str__(), *(f"  {problem}" for problem in self.problems)])


class SoundError(InputError):
    """A recording that cannot be read or holds nothing to measure."""


class UnknownNameError(InputError):
    """A stop, rank, key, temperament or other name that does not exist."""


class BookError(WalkboardError):
    """The tuning book cannot do what was asked; nothing in it was changed."""


class NotEnoughMinutesError(WalkboardError):
    """What a plan must do does not fit in its minutes.

    Parameters
    ----------
    missing_minutes : float
        How many more minutes would be needed [min].
    """

    def __init__(self, missing_minutes: float) -> None:
        self.missing_minutes = missing_minutes
        super().__init__(
            f"What must be done needs {missing_minutes:.1f} minutes more than there are.",
            fix="Give more minutes, or leave something out.",
        )
