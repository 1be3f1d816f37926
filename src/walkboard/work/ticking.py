"""Ticking pipes off from several devices at once: who did what, and where they disagree."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from walkboard.book.records import Tick, TickState
from walkboard.errors import InputError

if TYPE_CHECKING:
    from walkboard.book.keeping import Book


def keep_tick(book: Book, tick: Tick, over: str = "") -> Tick:
    """Keep a tick of the worklist.

    Parameters
    ----------
    book : Book
    tick : Tick
    over : str
        The uid of the tick that this one takes back; empty where it takes none back.

    Raises
    ------
    InputError
        When it takes back a tick that another device has since followed by its own, which is kept.
    BookError
        As `Book.set_tick`.
    """
    of_pipe = [known for known in book.ticks(tick.visit_id) if known.pipe == tick.pipe]
    if any(known.uid == tick.uid for known in of_pipe):
        return book.set_tick(tick)
    if over:
        _refuse_over_another(of_pipe, tick, over)
    if over and tick.state == TickState.SKIPPED:
        # Done is taken back first: a skip alone would not count over it.
        opened = replace(tick, uid=f"{tick.uid}-open", state=TickState.OPEN.value)
        return book.set_ticks([opened, tick])[1]
    return book.set_tick(tick)


def _refuse_over_another(of_pipe: Sequence[Tick], tick: Tick, over: str) -> None:
    for other in since_opened(of_pipe):
        is_another = other.uid != over and other.device != tick.device
        if is_another and other.state != TickState.OPEN:
            raise InputError(
                f"{other.device or 'The desk'} has {_DID[other.state]} pipe {tick.pipe.number} of "
                f"{tick.pipe.rank} meanwhile.",
                fix="What the other device did is kept. Look at the pipe again.",
            )


_DID = {TickState.DONE.value: "done", TickState.SKIPPED.value: "skipped"}


def since_opened(of_pipe: Iterable[Tick]) -> list[Tick]:
    """The ticks of one pipe since it was open last, in the order in which they count."""
    found: list[Tick] = []
    for tick in of_pipe:
        if tick.state == TickState.OPEN:
            found = []
        else:
            found.append(tick)
    return found


def disagreements(ticks: Iterable[Tick]) -> dict[str, tuple[Tick, Tick]]:
    """Where one device did a pipe and another skipped it, by pipe: who did it, who skipped it.

    Parameters
    ----------
    ticks : iterable of Tick
        Ticks of a visit, in the order in which they count.
    """
    by_pipe: dict[str, list[Tick]] = {}
    for tick in ticks:
        by_pipe.setdefault(str(tick.pipe), []).append(tick)
    found = {}
    for pipe, of_pipe in by_pipe.items():
        now = since_opened(of_pipe)
        done = [t for t in now if t.state == TickState.DONE]
        skipped = [t for t in now if t.state == TickState.SKIPPED]
        pair = next(((d, s) for d in done for s in skipped if d.device != s.device), None)
        if pair is not None:
            found[pipe] = pair
    return found
