"""Searches by words through what people wrote into the book."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator

from sqlalchemy import select
from sqlalchemy.orm import Session

from walkboard.book.models import EventRow, FaultRow, NoteRow, TickRow, VisitRow
from walkboard.book.records import Found
from walkboard.book.rows.storing import Storing
from walkboard.book.rows.superseding import current
from walkboard.book.venue.faults import WHOLE_FAULT


class Searching(Storing):
    """Search."""

    def search(self, words: str) -> tuple[Found, ...]:
        """Every fault, note, visit, tick and event whose text has all the words, newest first.

        Case and accents do not count; a word may be a part of a longer one.

        Parameters
        ----------
        words : str
            Separated by spaces; no words find nothing.
        """
        wanted = _plain(words).split()
        if not wanted:
            return ()
        with self._reading() as session:
            found = [
                text
                for text in _texts(session)
                if all(word in _plain(text.words) for word in wanted)
            ]
        return tuple(sorted(found, key=lambda text: text.at, reverse=True))


def _texts(session: Session) -> Iterator[Found]:
    organ_of: dict[int, int] = {}
    for visit in session.scalars(select(VisitRow)):
        organ_of[visit.id] = visit.organ_id
        yield Found(
            "visit",
            visit.id,
            visit.organ_id,
            visit.id,
            visit.opened_at,
            _joined(visit.purpose, visit.closing_note),
        )
    for note in session.scalars(select(NoteRow)):
        yield Found(
            "note", note.id, organ_of[note.visit_id], note.visit_id, note.noted_at, note.words
        )
    for tick in session.scalars(select(TickRow).where(TickRow.note != "")):
        words = _joined(f"{tick.rank}:{tick.number}", tick.note)
        yield Found("tick", tick.visit_id, organ_of[tick.visit_id], tick.visit_id, tick.at, words)
    for fault in session.scalars(select(FaultRow).options(*WHOLE_FAULT)):
        link, fix = fault.links[-1], fault.fixes[-1] if fault.fixes else None
        pipe = "" if link.rank is None else f"{link.rank}:{link.number}"
        yield Found(
            "fault",
            fault.id,
            fault.organ_id,
            None if fix is None else fix.visit_id,
            fault.reported_at,
            _joined(
                fault.kind,
                link.stop,
                link.key,
                pipe,
                fault.words,
                None if fix is None else fix.note,
            ),
        )
    for event in session.scalars(current(EventRow)):
        yield Found("event", event.id, event.organ_id, None, event.starts_at, event.title)


def _joined(*parts: str | None) -> str:
    return " · ".join(part for part in parts if part)


def _plain(text: str) -> str:
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in apart if not unicodedata.combining(c))
