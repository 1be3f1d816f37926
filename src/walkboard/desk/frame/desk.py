"""The desk: what every page works with. The server's part is in `server.application`."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection, Request

from walkboard.book.records import KeptOrgan
from walkboard.desk.background.exports import Exports
from walkboard.desk.background.uploads import Uploads
from walkboard.desk.frame.access import Visitor, visitor_of
from walkboard.desk.frame.pairing import Pairing
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.live.practice import Practising
from walkboard.desk.live.session import LiveListening
from walkboard.organ.model import Organ
from walkboard.work.snapshot import organ_in

if TYPE_CHECKING:
    from walkboard.book.cache.seen import SeenBook
    from walkboard.desk.background.jobs import Jobs
    from walkboard.desk.background.readiness import Readiness
    from walkboard.desk.frame.signing_in import SigningIn
    from walkboard.desk.live.hub import Hub


@dataclass(frozen=True, slots=True)
class Desk:
    """One book on the desk.

    Attributes
    ----------
    book : SeenBook
        Open while the desk is.
    hub : Hub
        Notifies pages. Whoever changes the book need not: the desk notices and publishes on the
        topic ``book``.
    jobs : Jobs
    pairing : Pairing
    shared_address : str or None
        Where phones reach the desk; None while it is not shared.
    fingerprint : str
        Fingerprint of the certificate that the desk shows there; empty where nothing is encrypted.
    authority : bytes
        Certificate of the authority that signed it (DER), for phones to install; empty where none
        did.
    is_warm : threading.Event
        Set once the state of the organs has been worked out after the start; a page that wants it
        may show that it is on its way instead.
    readiness : Readiness
        The forecasts of the organs' readiness for the next events.
    exports : Exports
        Files of the whole book that were made to download.
    uploads : Uploads
        Files waiting for their sender to confirm how to read them.
    listening : LiveListening
        The live session, if one runs.
    practising : Practising
        The practice organ, if it sounds.
    signing_in : SigningIn or None
        How people sign in, of a desk behind a proxy; None: nobody does.
    """

    book: SeenBook
    hub: Hub
    jobs: Jobs
    pairing: Pairing
    shared_address: str | None
    fingerprint: str
    readiness: Readiness
    authority: bytes = b""
    exports: Exports = field(default_factory=Exports)
    uploads: Uploads = field(default_factory=Uploads)
    is_warm: threading.Event = field(default_factory=threading.Event)
    listening: LiveListening = field(default_factory=LiveListening)
    practising: Practising = field(default_factory=Practising)
    signing_in: SigningIn | None = None

    @property
    def is_sounding(self) -> bool:
        """Whether a live session or the practice organ runs."""
        return self.listening.run is not None or self.practising.lesson is not None

    def organ(self, request: Request) -> tuple[KeptOrgan, Organ]:
        """The organ of an address with ``{organ:int}``.

        Raises
        ------
        HTTPException
            404 if the book has no organ with that number.
        """
        organ_id = int(request.path_params["organ"])
        if all(kept.id != organ_id for kept in self.book.organs()):
            raise HTTPException(404)
        return organ_in(self.book, organ_id)

    def organs_of(self, visitor: Visitor) -> tuple[KeptOrgan, ...]:
        """The organs that a visitor finds in the book."""
        if visitor.may_on_every_organ(Permission.ENTER):
            return self.book.organs()
        if not visitor.is_known:
            return ()
        return tuple(o for o in self.book.organs() if visitor.may(Permission.ENTER, o.id))

    def address_for_phones(self, request: Request) -> str:
        """Where others find the desk, without the last stroke."""
        if self.signing_in is not None:
            return str(self.signing_in.origin)
        port = (request.scope.get("server") or ("", 80))[1]
        scheme = "https" if self.fingerprint else "http"
        return f"{scheme}://{self.shared_address or '127.0.0.1'}:{port}"

    def device_name(self, request: Request) -> str:
        """Name of the person or the paired device that asks; empty at the desk itself."""
        visitor = visitor_of(request)
        if visitor.person is not None:
            return visitor.person.name
        devices = self.pairing.devices.all()
        return next((d.name for d in devices if d.id == visitor.device), "")


def desk_of(connection: HTTPConnection) -> Desk:
    """The desk that a request came to."""
    desk: Desk = connection.app.state.desk
    return desk
