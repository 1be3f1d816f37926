"""Weights changed by hand, and costs explained."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from walkboard.book.records import KeptOrgan, KeptVisit, KeptWeight
from walkboard.organ.model import Organ
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.weight import WeightChange, places_named
from walkboard.work.plans import prepared, sentences

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.planning.request import PlanRequest


def change(
    book: Book, kept: KeptOrgan, organ: Organ, name: str, *, factor: float, words: str
) -> KeptWeight:
    """Keep a changed weight of a stop, a rank or a pipe.

    Raises
    ------
    InputError
        When the organ has no such name, or the factor is out of range.
    """
    places_named(Layout.of(organ), WeightChange(name, factor).subject)
    return book.keep_weight(kept.id, name, factor, words)


def explained(
    book: Book, organ: Organ, visit: KeptVisit, names: Sequence[str], request: PlanRequest
) -> tuple[str, ...]:
    """Why pipes cost what they do at a visit, at the pitch it would be tuned to.

    Raises
    ------
    InputError
        If nothing usable was heard, or nothing is known about the pipes named.
    """
    ready = prepared(book, visit)
    return sentences(organ, ready, request, ready.plan(request), names)
