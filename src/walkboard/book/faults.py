"""Faults: reported, linked to what they belong to, mended."""

from __future__ import annotations

from sqlalchemy import select

from walkboard.book.models import FaultLinkRow, FaultMendingRow, FaultRow
from walkboard.book.records import FaultKind, KeptFault
from walkboard.book.storing import Storing
from walkboard.errors import UnknownNameError
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key


class Faults(Storing):
    """Keeping the list of faults."""

    def report_fault(
        self,
        organ_id: int,
        kind: str,
        words: str,
        *,
        stop: str | None = None,
        key: str | None = None,
        pipe: PipeRef | None = None,
        uid: str | None = None,
    ) -> KeptFault:
        """Keep a fault as it is reported; the same one again, by its uid, changes nothing.

        Parameters
        ----------
        organ_id : int
        kind : str
            A word of `FaultKind`.
        words : str
            In the reporter's own words.
        stop, key, pipe
            What it was seen on, where that is known; the key by its name, as ``F#3``.
        uid : str or None
            Given by whoever reports.

        Raises
        ------
        UnknownNameError
            When the kind or the key is none.
        BookError
            When there is no such organ, or the uid belongs to another report.
        """
        if kind not in set(FaultKind):
            raise UnknownNameError(
                f"{kind!r} is not a kind of fault.", mend=f"It is one of: {', '.join(FaultKind)}."
            )
        link = _link_row(stop, key, pipe)
        with self._writing() as session:
            self._newest_description(session, organ_id)
            known = None
            if uid is not None:
                known = session.scalar(select(FaultRow).where(FaultRow.uid == uid))
            if known is not None:
                if (known.organ_id, known.kind, known.words) != (organ_id, kind, words):
                    raise self._error(
                        f"The report {uid!r} is known, but says something else.",
                        "Give every report a uid of its own.",
                    )
                return _fault_of(known)
            now = self._now()
            link.linked_at = now
            row = FaultRow(
                uid=uid,
                organ_id=organ_id,
                kind=FaultKind(kind).value,
                words=words,
                reported_at=now,
                links=[link],
            )
            session.add(row)
            session.flush()
            return _fault_of(row)

    def link_fault(
        self,
        fault_id: int,
        *,
        stop: str | None = None,
        key: str | None = None,
        pipe: PipeRef | None = None,
    ) -> KeptFault:
        """Say anew what a fault belongs to; what was said before stays in the book.

        Raises
        ------
        UnknownNameError
            When the key is none.
        BookError
            When there is no such fault.
        """
        link = _link_row(stop, key, pipe)
        with self._writing() as session:
            row = self._get(session, FaultRow, fault_id, "fault")
            link.linked_at = self._now()
            row.links.append(link)
            session.flush()
            return _fault_of(row)

    def mend_fault(
        self, fault_id: int, *, visit_id: int | None = None, note: str = ""
    ) -> KeptFault:
        """Say that a fault is mended, at a visit that is open or between visits.

        A fault that comes back is a new fault.

        Raises
        ------
        BookError
            When there is no such fault or visit, the fault is mended already, the visit is closed,
            or it is a visit to another organ.
        """
        with self._writing() as session:
            row = self._get(session, FaultRow, fault_id, "fault")
            if row.mending is not None:
                raise self._error(
                    f"Fault {fault_id} was mended on {row.mending.mended_at:%Y-%m-%d}.",
                    "Report it anew if it came back.",
                )
            if visit_id is not None:
                visit = self._visit_at_work(session, visit_id)
                if visit.organ_id != row.organ_id:
                    raise self._error(
                        f"Visit {visit_id} is to another organ than fault {fault_id}.",
                        "Name a visit to its own organ.",
                    )
            row.mending = FaultMendingRow(visit_id=visit_id, note=note, mended_at=self._now())
            session.flush()
            return _fault_of(row)

    def fault(self, fault_id: int) -> KeptFault:
        """One fault; BookError where there is none."""
        with self._reading() as session:
            return _fault_of(self._get(session, FaultRow, fault_id, "fault"))

    def faults(self, organ_id: int) -> tuple[KeptFault, ...]:
        """Every fault of an organ, standing or mended, oldest first."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = select(FaultRow).where(FaultRow.organ_id == organ_id).order_by(FaultRow.id)
            return tuple(_fault_of(row) for row in session.scalars(query))

    def standing_faults(self, organ_id: int) -> tuple[KeptFault, ...]:
        """The faults of an organ that are not mended, oldest first."""
        return tuple(fault for fault in self.faults(organ_id) if fault.mended_at is None)


def _link_row(stop: str | None, key: str | None, pipe: PipeRef | None) -> FaultLinkRow:
    return FaultLinkRow(
        stop=stop,
        key=None if key is None else Key.parse(key).name,
        rank=None if pipe is None else pipe.rank,
        number=None if pipe is None else int(pipe.number),
    )


def _fault_of(row: FaultRow) -> KeptFault:
    link, mending = row.links[-1], row.mending
    pipe = None
    if link.rank is not None and link.number is not None:
        pipe = PipeRef(link.rank, link.number)
    return KeptFault(
        id=row.id,
        organ_id=row.organ_id,
        kind=row.kind,
        stop=link.stop,
        key=link.key,
        pipe=pipe,
        words=row.words,
        reported_at=row.reported_at,
        mended_at=None if mending is None else mending.mended_at,
        mended_in_visit=None if mending is None else mending.visit_id,
        mended_note="" if mending is None else mending.note,
        uid=row.uid,
    )
