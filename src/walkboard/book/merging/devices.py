"""Devices: every copy of a book is one, with a name that people know it by."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select

from walkboard.book.models import DeviceNameRow, OwnDeviceRow
from walkboard.book.rows import stamping
from walkboard.book.rows.storing import Storing

EARLIER = "before devices had names"
"""For facts from before the book noted devices."""


@dataclass(frozen=True, slots=True)
class Device:
    """A copy of the book that facts were noted in."""

    uid: str
    name: str


class Devices(Storing):
    """The devices whose facts are in the book."""

    def device(self) -> Device:
        """The device that this copy writes as."""
        with self._writing() as session:
            stamping.of(session).load(session.connection())
        with self._reading() as session:
            uid = session.scalars(select(OwnDeviceRow.device_uid)).one()
        return Device(uid, self.devices()[uid])

    def name_device(self, name: str) -> Device:
        """Give this copy a name, as "Chapel laptop".

        Raises
        ------
        BookError
            If the name is empty.
        """
        name = name.strip()
        if not name:
            raise self._error("A device must have a name.", 'Name it as "Chapel laptop".')
        old = self.device()
        if old.name != name:
            with self._writing() as session:
                session.add(DeviceNameRow(name=name, named_at=self._now()))
        return Device(old.uid, name)

    def devices(self) -> dict[str, str]:
        """The name of each device, by its uid."""
        query = select(DeviceNameRow.device_uid, DeviceNameRow.name)
        with self._reading() as session:
            return {
                row[0]: row[1] for row in session.execute(query.order_by(DeviceNameRow.fact_uid))
            }

    def leaves_sound(self) -> bool:
        """Whether the files of the recordings stayed in the book that this copy was taken from."""
        with self._reading() as session:
            return bool(session.scalar(select(OwnDeviceRow.leaves_sound)))
