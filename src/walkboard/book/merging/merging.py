"""The part of the book that receives what another copy has."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, insert, select, update

from walkboard.book.files.sounds import SoundFolder
from walkboard.book.merging import deriving, sounds
from walkboard.book.merging.appending import Appending
from walkboard.book.merging.planning import missing
from walkboard.book.merging.reading import facts_of, facts_of_no_organ, organs, rows_with
from walkboard.book.models import Base, DescriptionRow, OwnDeviceRow
from walkboard.book.records import BookProblem
from walkboard.book.rows import stamping
from walkboard.book.rows.storing import Storing

Progress = Callable[[float, float], None]
"""Called with the number of facts written and the total."""


@dataclass(frozen=True, slots=True)
class OrganNews:
    """What one copy has of an organ that another lacks.

    Attributes
    ----------
    name : str
        As the copy that has more calls it.
    is_new : bool
        Whether the other did not have the organ at all.
    facts : mapping of str to int
        How many of each kind, by table.
    visits : mapping of int to int
        The number here of each new visit, by its number there; empty in a dry run.
    """

    name: str
    is_new: bool
    facts: Mapping[str, int]
    visits: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Merged:
    """What a merge brought, or would bring.

    Attributes
    ----------
    organs : tuple of OrganNews
        Those with anything new.
    problems : tuple of BookProblem
        Files that were not copied.
    """

    organs: tuple[OrganNews, ...]
    problems: tuple[BookProblem, ...] = ()

    @property
    def facts(self) -> int:
        """How many facts in all."""
        return sum(sum(organ.facts.values()) for organ in self.organs)


class Merging(Storing):
    """Receiving from another copy."""

    def news_of(self, other: Merging, names: Collection[str] | None = None) -> Merged:
        """What another copy has that this one lacks; nothing is written.

        Parameters
        ----------
        other : Merging
            The other copy, open.
        names : collection of str or None
            The organs wanted, as the other calls them; None for all.
        """
        found = []
        with other._reading() as there, self._reading() as here:
            known = organs(here.connection())
            for uid, id_ in _chosen(there.connection(), names).items():
                facts_there = facts_of(there.connection(), id_)
                facts_here = facts_of(here.connection(), known.get(uid))
                lacking = missing(facts_there, facts_here)
                if lacking:
                    name = _name_of(there.connection(), id_)
                    counts = {table: len(uids) for table, uids in lacking.items()}
                    found.append(OrganNews(name, uid not in known, counts, {}))
        return Merged(tuple(found))

    def merge(
        self,
        other: Merging,
        names: Collection[str] | None = None,
        *,
        files: SoundFolder | None = None,
        recordings: bool = True,
        progress: Progress = lambda _done, _total: None,
    ) -> Merged:
        """Append what another copy has and this one lacks; the other is not changed.

        Each organ is one transaction, so an interrupted merge leaves whole organs; repeating it
        brings the rest. Files are copied before the rows that name them.

        Parameters
        ----------
        other : Merging
            The other copy, open.
        names : collection of str or None
            The organs wanted, as the other calls them; None for all.
        files : SoundFolder or None
            Where the other's files are; None: in its own folder.
        recordings : bool
            Whether to copy the files of recordings; those of photographs always are.
        progress : callable

        Raises
        ------
        BookError
            When the book cannot be written.
        """
        total = self.news_of(other, names).facts
        done = 0
        found: list[OrganNews] = []
        problems: list[BookProblem] = []

        def count(new: int) -> None:
            nonlocal done
            done += new
            progress(done, total)

        with other._reading() as there:
            connection = there.connection()
            self._append_names(connection)
            for uid, id_ in _chosen(connection, names).items():
                problems += sounds.copy(
                    sounds.wanted(connection, id_, recordings=recordings),
                    files or other.sounds,
                    self.sounds,
                    lambda _done, _total: progress(done, total),
                )
                news = self._append_organ(connection, uid, id_, count)
                if news is not None:
                    found.append(news)
        return Merged(tuple(found), tuple(problems))

    def leave_sound(self) -> None:
        """Note that the recordings' files stay in the book that this copy was taken from."""
        with self._writing() as session:
            stamping.of(session).load(session.connection())
            session.execute(update(OwnDeviceRow).values(leaves_sound=True))

    def _append_names(self, there: Connection) -> None:
        """Bring the names of devices and people."""
        with self._writing() as session:
            here = session.connection()
            facts_there = facts_of_no_organ(there)
            lacking = missing(facts_there, facts_of_no_organ(here))
            for name, uids in lacking.items():
                table = Base.metadata.tables[name]
                for rows in rows_with(there, table, "fact_uid", uids):
                    arrived = {"arrived_at": self._now()}
                    values = [{**row, **arrived} for row in rows]
                    for value in values:
                        del value["id"]
                    here.execute(insert(table), values)
            person = Base.metadata.tables["person"]
            known = {*here.scalars(select(person.c.uid))}
            for one in there.execute(select(person.c.uid, person.c.name, person.c.added_at)):
                if one.uid not in known:
                    here.execute(insert(person).values(one._asdict()))
            self._follow(here, stamping.of(session), lacking)

    def _append_organ(
        self, there: Connection, uid: str, id_there: int, count: Callable[[int], None]
    ) -> OrganNews | None:
        with self._writing() as session:
            here = session.connection()
            id_here = organs(here).get(uid)
            facts_there = facts_of(there, id_there)
            facts_here = facts_of(here, id_here)
            work = Appending(there, here, self._now(), count)
            added = work.append(facts_there, facts_here)
            if not added:
                return None
            organ_id = added.get("organ", {}).get(uid, id_here)
            assert organ_id is not None
            numbers = deriving.number_descriptions(here, organ_id)
            plans = {
                facts_there["plan"][plan]: number for plan, number in added.get("plan", {}).items()
            }
            deriving.versions_of_plans(there, here, plans, numbers)
            deriving.close_visits(here, organ_id)
            deriving.link_readings(session, work.hearings)
            self._follow(here, stamping.of(session), added)
            return OrganNews(
                name=_name_of(there, id_there),
                is_new=id_here is None,
                facts={table: len(new) for table, new in added.items()},
                visits={
                    facts_there["visit"][one]: number
                    for one, number in added.get("visit", {}).items()
                },
            )

    def _follow(
        self, here: Connection, stamps: stamping.Stamps, added: Mapping[str, Collection[str]]
    ) -> None:
        """Let what is noted from now on come after what has arrived."""
        uids = [uid for new in added.values() for uid in new]
        if uids:
            stamps.see(here, max(uids))


def _chosen(there: Connection, names: Collection[str] | None) -> dict[str, int]:
    wanted = None if names is None else {name.casefold() for name in names}
    return {
        uid: id_
        for uid, id_ in organs(there).items()
        if wanted is None or _name_of(there, id_).casefold() in wanted
    }


def _name_of(connection: Connection, organ_id: int) -> str:
    query = select(DescriptionRow.name).where(DescriptionRow.organ_id == organ_id)
    return connection.scalars(query.order_by(DescriptionRow.version.desc()).limit(1)).one()
