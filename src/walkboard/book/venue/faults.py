"""Faults: reported, linked to what they belong to, fixed."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from walkboard.book.models import FaultFixRow, FaultLinkRow, FaultRow, FaultTieRow
from walkboard.book.records import FaultKind, KeptFault
from walkboard.book.rows.storing import Storing
from walkboard.errors import BookError, UnknownNameError
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key

# For many faults at once: one query per kind of row, not several per fault.
WHOLE_FAULT = (
    selectinload(FaultRow.links),
    selectinload(FaultRow.fixes),
    selectinload(FaultRow.ties),
)
_DOUBLE, _AGAIN = "double of", "again"  # kinds of ties


class Faults(Storing):
    """The list of faults."""

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
        reporter: str = "",
    ) -> KeptFault:
        """Store a reported fault; the same one again changes nothing.

        The same one is one with the same uid. A report without a uid is also the same if an
        identical one (kind, words, place and reporter) is still open.

        Parameters
        ----------
        organ_id : int
        kind : str
            A word of `FaultKind`.
        words : str
            In the reporter's own words.
        stop, key, pipe
            What it was seen on, if known; the key by its name, as ``F#3``.
        uid : str or None
            Chosen by the reporter's device.
        reporter : str
            Who reports it, if they say so.

        Raises
        ------
        UnknownNameError
            If there is no such kind or key.
        BookError
            If there is no such organ, the uid belongs to another report, or the report says
            nothing.
        """
        if kind not in set(FaultKind):
            raise UnknownNameError(
                f"{kind!r} is not a kind of fault.", fix=f"It is one of: {', '.join(FaultKind)}."
            )
        link = _link_row(stop, key, pipe)
        says_something = words.strip() or stop or key or pipe
        if kind == FaultKind.OTHER and not says_something:
            raise self._error(
                "The report says nothing: no words, stop, key or pipe.", "Say what is wrong."
            )
        with self._writing() as session:
            self._newest_description(session, organ_id)
            if uid is None:
                known = _standing_twin(session, organ_id, kind, words, link=link, reporter=reporter)
            else:
                known = self._report_of(session, uid, (organ_id, kind, words))
            if known is not None:
                return known
            now = self._now()
            link.linked_at = now
            row = FaultRow(
                uid=uid,
                organ_id=organ_id,
                kind=FaultKind(kind).value,
                words=words,
                reported_at=now,
                reporter=reporter,
                links=[link],
            )
            session.add(row)
            session.flush()
            return _fault_of(row)

    def _report_of(
        self, session: Session, uid: str, report: tuple[int, str, str]
    ) -> KeptFault | None:
        """The report stored under a uid; BookError if it says something else."""
        known = session.scalar(select(FaultRow).where(FaultRow.uid == uid))
        if known is None:
            return None
        if (known.organ_id, known.kind, known.words) != report:
            raise self._error(
                f"The report {uid!r} is already stored with different contents.",
                "Give every report its own uid.",
            )
        return _fault_of(known)

    def link_fault(
        self,
        fault_id: int,
        *,
        stop: str | None = None,
        key: str | None = None,
        pipe: PipeRef | None = None,
    ) -> KeptFault:
        """Link a fault to something else; the old link stays in the book.

        Raises
        ------
        UnknownNameError
            If it is not a key.
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

    def mark_fixed(
        self, fault_id: int, *, visit_id: int | None = None, note: str = ""
    ) -> KeptFault:
        """Mark a fault as fixed, at an open visit or between visits.

        A fault that comes back is a new fault.

        Raises
        ------
        BookError
            If there is no such fault or visit, the fault is already fixed, the visit is closed, or
            it is a visit to another organ.
        """
        with self._writing() as session:
            row = self._get(session, FaultRow, fault_id, "fault")
            if row.fixes:
                raise self._error(
                    f"Fault {fault_id} was fixed on {row.fixes[-1].mended_at:%Y-%m-%d}.",
                    "If it came back, report it again.",
                )
            _refuse_double(self, row)
            if visit_id is not None:
                visit = self._visit_at_work(session, visit_id)
                if visit.organ_id != row.organ_id:
                    raise self._error(
                        f"Visit {visit_id} is to another organ than fault {fault_id}.",
                        "Name a visit to its own organ.",
                    )
            row.fixes.append(FaultFixRow(visit_id=visit_id, note=note, mended_at=self._now()))
            session.flush()
            return _fault_of(row)

    def merge_fault(self, fault_id: int, into_id: int) -> KeptFault:
        """Mark a fault as another report of an open one; its own words stay in the book.

        Raises
        ------
        BookError
            If either does not exist or is not open, they belong to different organs, or are the
            same.
        """
        with self._writing() as session:
            row = self._get(session, FaultRow, fault_id, "fault")
            other = self._get(session, FaultRow, into_id, "fault")
            if row.id == other.id or row.organ_id != other.organ_id:
                raise self._error(
                    f"Fault {fault_id} cannot be a double of fault {into_id}.",
                    "Name another fault of the same organ.",
                )
            for one in (row, other):
                if not _fault_of(one).stands:
                    raise self._error(f"Fault {one.id} is no longer open.", "Load the list again.")
            self._tie(session, row, _DOUBLE, other)
            return _fault_of(row)

    def reopen_fault(self, fault_id: int, words: str = "", *, reporter: str = "") -> KeptFault:
        """Reopen a fixed fault that came back, or a wrongly marked double, as a new fault.

        Parameters
        ----------
        fault_id : int
        words : str
            What is seen now; if empty, those of the old report.
        reporter : str

        Raises
        ------
        BookError
            If there is no such fault, it is still open, or it was already reopened.
        """
        with self._writing() as session:
            old = self._get(session, FaultRow, fault_id, "fault")
            if _fault_of(old).stands:
                raise self._error(f"Fault {fault_id} is still open.", "There is nothing to do.")
            query = select(FaultTieRow.fault_id).where(
                FaultTieRow.other_id == old.id, FaultTieRow.kind == _AGAIN
            )
            newer = session.scalar(query)
            if newer is not None:
                raise self._error(
                    f"Fault {fault_id} was already reopened, as fault {newer}.",
                    "Continue with that one.",
                )
            link, now = old.links[-1], self._now()
            row = FaultRow(
                organ_id=old.organ_id,
                kind=old.kind,
                words=words or old.words,
                reported_at=now,
                reporter=reporter,
                links=[
                    FaultLinkRow(
                        stop=link.stop,
                        key=link.key,
                        rank=link.rank,
                        number=link.number,
                        linked_at=now,
                    )
                ],
            )
            session.add(row)
            session.flush()
            self._tie(session, row, _AGAIN, old)
            return _fault_of(row)

    def fault(self, fault_id: int) -> KeptFault:
        """One fault; BookError if there is none."""
        with self._reading() as session:
            return _fault_of(self._get(session, FaultRow, fault_id, "fault"))

    def faults(self, organ_id: int) -> tuple[KeptFault, ...]:
        """Every fault of an organ, open or fixed, oldest first."""
        with self._reading() as session:
            self._newest_description(session, organ_id)
            query = (
                select(FaultRow).where(FaultRow.organ_id == organ_id).order_by(FaultRow.fact_uid)
            )
            query = query.options(*WHOLE_FAULT)
            return tuple(_fault_of(row) for row in session.scalars(query))

    def open_faults(self, organ_id: int) -> tuple[KeptFault, ...]:
        """The open faults of an organ, oldest first, without doubles."""
        return tuple(fault for fault in self.faults(organ_id) if fault.stands)

    def _tie(self, session: Session, row: FaultRow, kind: str, other: FaultRow) -> None:
        row.ties.append(FaultTieRow(kind=kind, other_id=other.id, tied_at=self._now()))
        session.flush()


def _refuse_double(book: Storing, row: FaultRow) -> None:
    other = _tied(row, _DOUBLE)
    if other is not None:
        raise BookError(
            f"Fault {row.id} is a double of fault {other}.",
            where=str(book.path),
            fix="Mark that one as fixed.",
        )


def _tied(row: FaultRow, kind: str) -> int | None:
    return next((tie.other_id for tie in reversed(row.ties) if tie.kind == kind), None)


def _standing_twin(
    session: Session, organ_id: int, kind: str, words: str, *, link: FaultLinkRow, reporter: str
) -> KeptFault | None:
    """An open fault with exactly the same text, so that pressing twice adds nothing."""
    query = select(FaultRow).where(
        FaultRow.organ_id == organ_id, FaultRow.kind == kind, FaultRow.words == words
    )
    for row in session.scalars(query):
        kept = _fault_of(row)
        place = (link.stop, link.key, _pipe_of(link))
        if kept.stands and (kept.stop, kept.key, kept.pipe, kept.reporter) == (*place, reporter):
            return kept
    return None


def _link_row(stop: str | None, key: str | None, pipe: PipeRef | None) -> FaultLinkRow:
    return FaultLinkRow(
        stop=stop,
        key=None if key is None else Key.parse(key).name,
        rank=None if pipe is None else pipe.rank,
        number=None if pipe is None else int(pipe.number),
    )


def _pipe_of(link: FaultLinkRow) -> PipeRef | None:
    if link.rank is None or link.number is None:
        return None
    return PipeRef(link.rank, link.number)


def _fault_of(row: FaultRow) -> KeptFault:
    link, fix = row.links[-1], row.fixes[-1] if row.fixes else None
    return KeptFault(
        id=row.id,
        organ_id=row.organ_id,
        kind=row.kind,
        stop=link.stop,
        key=link.key,
        pipe=_pipe_of(link),
        words=row.words,
        reported_at=row.reported_at,
        mended_at=None if fix is None else fix.mended_at,
        mended_in_visit=None if fix is None else fix.visit_id,
        mended_note="" if fix is None else fix.note,
        uid=row.uid,
        reporter=row.reporter,
        double_of=_tied(row, _DOUBLE),
        again_of=_tied(row, _AGAIN),
    )
