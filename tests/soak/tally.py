"""What a soak counts: tried, lost, hung, unclear; and where failing cases are kept."""

from __future__ import annotations

import hashlib
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from walkboard.errors import WalkboardError

CASES = Path(__file__).parent / "cases"
LONGEST_S = 10.0  # of processor time for one input of a few kilobytes. Chosen.


class HungError(Exception):
    """Something took longer than it may."""


@dataclass
class Tally:
    """One line of the table.

    Attributes
    ----------
    name : str
    tried : int
    lost : int
        What was reported as kept and was not there afterwards, or was there by half.
    hung : int
        What did not end within `LONGEST_S` of processor time.
    unclear : int
        What ended in anything but a result or an error that says what is wrong.
    notes : list of str
        A line about each that failed.
    """

    name: str
    tried: int = 0
    lost: int = 0
    hung: int = 0
    unclear: int = 0
    notes: list[str] = field(default_factory=list)

    @property
    def is_clean(self) -> bool:
        """Whether nothing went wrong."""
        return not (self.lost or self.hung or self.unclear)

    def attempt(self, act: Callable[[], object], about: str, case: bytes | None = None) -> bool:
        """Do something that may be refused, but only clearly; whether it was done.

        Parameters
        ----------
        act : callable
        about : str
            For the note about a failure.
        case : bytes or None
            The input, kept as a file in `CASES` if it fails.
        """
        self.tried += 1
        try:
            with _watched():
                act()
        except WalkboardError as error:
            if str(error).strip():
                return False
            self.unclear += 1
            self._note("an error without words", about, case)
        except HungError:
            self.hung += 1
            self._note("hung", about, case)
        except Exception as error:
            self.unclear += 1
            self._note(f"{type(error).__name__}: {error}", about, case)
        else:
            return True
        return False

    def lose(self, what: str) -> None:
        """Note something that was reported as kept and is not there."""
        self.lost += 1
        self.notes.append(f"{self.name}: lost {what}")

    def _note(self, what: str, about: str, case: bytes | None) -> None:
        place = ""
        if case is not None:
            name = f"{self.name.replace(' ', '-')}.{hashlib.sha256(case).hexdigest()[:12]}"
            CASES.mkdir(exist_ok=True)
            (CASES / name).write_bytes(case)
            place = f" ({name})"
        self.notes.append(f"{self.name}: {about}: {what[:200]}{place}")

    def row(self) -> str:
        """As it is printed."""
        return f"{self.name:34}{self.tried:9}{self.lost:7}{self.hung:7}{self.unclear:9}"


HEAD = f"{'':34}{'tried':>9}{'lost':>7}{'hung':>7}{'unclear':>9}"


@contextmanager
def _watched() -> Iterator[None]:
    def hung(*_: object) -> None:
        raise HungError

    before = signal.signal(signal.SIGPROF, hung)
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)
