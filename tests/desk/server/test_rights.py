"""Every door against everyone who may come: made from the router, so that no new route slips by."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest
from starlette.routing import Match, Mount, Route
from starlette.testclient import TestClient
from starlette.types import Message, Scope

from walkboard.book.people.records import Membership, Person, PersonRole
from walkboard.desk.frame.access import AT_DESK, UNKNOWN, Visitor, paired, signed_in
from walkboard.desk.frame.pairing import Devices
from walkboard.desk.frame.permissions import OF_ROLE, WHOLE_BOOK, Permission
from walkboard.desk.server.application import guarded_doors, make_application
from walkboard.desk.server.gate import Gate, Guarded

MINE, OTHER = 4, 5

# Who may do what, written down a second time: by the description of the roles, not by the code.
RIGHTS = """
                        stranger desk device owner tuner holder venue adviser
open                       x      x     x      x     x     x      x      x
enter                      -      x     x      x     x     x      x      x
read the report            -      x     x      x     x     -      x      x
read the calendar          -      x     x      x     x     x      x      x
read faults                -      x     x      x     x     x      x      x
report a fault             -      x     x      x     x     x      x      x
read the records           -      x     x      x     x     -      -      x
hold keys                  -      x     x      x     x     x      -      -
tick                       -      x     x      x     x     -      -      -
handle faults              -      x     x      x     x     -      -      -
record                     -      x     x      x     x     -      -      -
plan                       -      x     x      x     x     -      -      -
keep the calendar          -      x     x      x     x     -      -      -
describe the organ         -      x     x      x     x     -      -      -
practise                   -      x     x      x     x     -      -      -
renew the console card     -      x     -      x     -     -      -      -
listen here                -      x     -      -     -     -      -      -
add organs                 -      x     x      x     x     -      -      -
take the book              -      x     x      x     x     -      -      -
stop work                  -      x     x      x     x     -      -      -
plan rounds                -      x     -      x     x     -      -      -
manage devices             -      x     -      x     -     -      -      -
manage people              -      x     -      x     -     -      -      -
"""
_HEAD, *_ROWS = [line.split() for line in RIGHTS.strip().splitlines()]
TABLE = {" ".join(row[:-8]): dict(zip(_HEAD, row[-8:], strict=True)) for row in _ROWS}
ROLES = {
    "owner": PersonRole.OWNER,
    "tuner": PersonRole.TUNER,
    "holder": PersonRole.KEY_HOLDER,
    "venue": PersonRole.VENUE,
    "adviser": PersonRole.ADVISER,
}


def person(role: PersonRole, organ_id: int | None) -> Visitor:
    at = datetime(2031, 3, 1, tzinfo=UTC)
    return signed_in(Person(1, "p", "Someone", (Membership(role, organ_id),), at), "session.1")


EVERYONE: dict[str, tuple[str, Visitor, int | None]] = {
    "a stranger": ("stranger", UNKNOWN, None),
    "the desk": ("desk", AT_DESK, None),
    "a paired device": ("device", paired("d"), None),
    **{f"{n} of all": (n, person(role, None), None) for n, role in ROLES.items()},
    **{f"{n} of one": (n, person(role, MINE), MINE) for n, role in ROLES.items()},
}


@pytest.fixture(scope="module")
def doors(village_book: Path) -> Iterator[Sequence[Guarded]]:
    made = make_application(village_book)
    guarded = guarded_doors()
    assert [door.route.path for door in guarded] == [r.path for r in made.routes]  # type: ignore[attr-defined]
    yield guarded
    made.state.desk.book.close()


class Asking:
    """A gate with nothing behind it: what it answers to a visitor that is simply given."""

    def __init__(self, doors: Sequence[Guarded], folder: Path) -> None:
        self.visitor = UNKNOWN
        self.gate = Gate(self._inside, doors, Devices(folder), None, self._outside)
        self.gate._visitor = self._given  # type: ignore[method-assign,assignment]
        self.answer = ""

    async def _given(self, *_: object) -> Visitor:
        return self.visitor

    async def _inside(self, *_: object) -> None:
        self.answer = "in"

    async def _outside(self, *_: object) -> None:
        self.answer = "out"

    def ask(self, method: str, path: str, visitor: Visitor) -> str:
        self.visitor, self.answer = visitor, ""
        is_socket = method == "SOCKET"
        scope: Scope = {
            "type": "websocket" if is_socket else "http",
            "method": method,
            "path": path,
            "headers": [(b"host", b"127.0.0.1")],
        }

        async def nothing() -> Message:
            return {"type": "websocket.connect"}

        async def refused(message: Message) -> None:
            assert message["type"] == "websocket.close"
            self.answer = "out"

        # Nothing here waits, so that no event loop is needed: a browser's may run in this thread.
        with pytest.raises(StopIteration):
            self.gate(scope, nothing, refused).send(None)
        return self.answer


def address(path: str, organ_id: int) -> str:
    """A path of a route with its gaps filled in."""
    filled = path.replace("{organ:int}", str(organ_id))
    while "{" in filled:
        start, end = filled.index("{"), filled.index("}")
        is_number = filled[start:end].endswith(":int")
        filled = filled[:start] + ("7" if is_number else "some") + filled[end + 1 :]
    return f"{filled}/some" if filled == "/static" else filled


def methods(door: Guarded) -> list[str]:
    if isinstance(door.route, Route):
        return sorted(door.route.methods or ())
    return ["GET"] if isinstance(door.route, Mount) else ["SOCKET"]


def test_the_table_names_every_permission_and_every_role() -> None:
    assert set(TABLE) == {permission.value for permission in Permission}
    assert set(ROLES.values()) == set(PersonRole) == set(OF_ROLE)


def test_every_route_for_everyone_who_may_come(doors: Sequence[Guarded], tmp_path: Path) -> None:
    asking = Asking(doors, tmp_path)
    asked = 0
    for door in doors:
        path = door.route.path  # type: ignore[attr-defined]
        of_organ = "{organ:int}" in path
        for name, (column, visitor, organ_id) in EVERYONE.items():
            for organ in (MINE, OTHER) if of_organ else (MINE,):
                has_right = TABLE[door.permission.value][column] == "x"
                is_theirs = organ_id in {None, organ} or column == "stranger"
                reaches = organ_id is None or door.permission not in WHOLE_BOOK
                is_open = door.permission is Permission.OPEN
                expected = is_open or (has_right and reaches and (is_theirs or not of_organ))
                for method in methods(door):
                    found = asking.ask(method, address(path, organ), visitor)
                    assert found == ("in" if expected else "out"), (name, method, path, organ)
                    asked += 1
    assert asked > 2000


def test_a_method_without_a_door_of_its_own_opens_nothing_more(
    doors: Sequence[Guarded], tmp_path: Path
) -> None:
    # HEAD belongs to GET; any other method meets the path's first door.
    asking = Asking(doors, tmp_path)
    for path in ("/sharing/code", "/organ/4/visit/open", "/organ/4/faults/7/mend"):
        for method in ("GET", "PUT", "DELETE", "get", "X"):
            assert asking.ask(method, path, person(PersonRole.VENUE, MINE)) == "out", path


def test_whoever_changes_something_needs_more_than_to_read(doors: Sequence[Guarded]) -> None:
    reading = {p for p in Permission if p.value.startswith("read") or p is Permission.ENTER}
    changing = [d for d in doors if "POST" in methods(d) and d.permission in reading]
    paths = {d.route.path for d in changing}  # type: ignore[attr-defined]
    assert paths <= {"/outbox"} | OWN  # the outbox asks again for each setting


def test_rights_on_one_organ_are_checked_on_that_organ(doors: Sequence[Guarded]) -> None:
    # A right on one organ must never open a door that names no organ, but for these.
    free = {Permission.OPEN, Permission.ENTER, Permission.PRACTISE, *WHOLE_BOOK}
    unnamed = {
        door.route.path  # type: ignore[attr-defined]
        for door in doors
        if "{organ:int}" not in door.route.path and door.permission not in free  # type: ignore[attr-defined]
    }
    # The checker of a description looks at a text, at nothing in the book.
    assert unnamed == {"/organs/check", "/organs/table"}


VENUE_MAY = {
    "GET /organ/{organ:int}/calendar",
    "GET /organ/{organ:int}/calendar/events.ics",
    "GET /organ/{organ:int}/faults",
    "GET /organ/{organ:int}/faults/new",
    "POST /organ/{organ:int}/faults/new",
    "GET /organ/{organ:int}/faults/words",
    "GET /organ/{organ:int}/faults/{fault:int}",
    "GET /organ/{organ:int}/report",
    "GET /organ/{organ:int}/report/keep",
}
# A person's own passkeys, code and sessions; at the desk itself there are none.
OWN = {
    "/sign-out",
    "/account/options",
    "/account/passkey",
    "/account/passkey/remove",
    "/account/code",
    "/account/session/end",
}


def test_a_venue_reads_and_reports_and_nothing_else(doors: Sequence[Guarded]) -> None:
    venue, stranger = person(PersonRole.VENUE, MINE), UNKNOWN
    found = {
        f"{method} {door.route.path}"  # type: ignore[attr-defined]
        for door in doors
        for method in methods(door)
        if method != "HEAD"
        and "{organ:int}" in door.route.path  # type: ignore[attr-defined]
        and venue.may(door.permission, MINE)
        and not stranger.may(door.permission, MINE)
    }
    assert found == VENUE_MAY


def test_an_adviser_changes_nothing_but_reports_faults(doors: Sequence[Guarded]) -> None:
    adviser = person(PersonRole.ADVISER, MINE)
    posts = {
        door.route.path  # type: ignore[attr-defined]
        for door in doors
        if "POST" in methods(door)
        and adviser.may(door.permission, MINE)
        and door.permission is not Permission.OPEN
    }
    assert posts == {"/outbox", "/organ/{organ:int}/faults/new"} | OWN


def test_two_roles_add_up_and_stay_apart() -> None:
    at = datetime(2031, 3, 1, tzinfo=UTC)
    roles = (Membership(PersonRole.TUNER, MINE), Membership(PersonRole.ADVISER, None))
    both = signed_in(Person(1, "p", "Someone", roles, at), "session.1")
    assert both.may(Permission.RECORD, MINE)
    assert not both.may(Permission.RECORD, OTHER)
    assert both.may(Permission.READ_RECORDS, OTHER)
    assert not both.may(Permission.ADD_ORGANS)
    nobody = signed_in(Person(1, "p", "Someone", (), at), "session.1")
    assert not nobody.is_known


def test_every_route_is_found_by_its_own_door(doors: Sequence[Guarded]) -> None:
    # Were two doors to fit one request, the gate and the router must choose the same.
    for door in doors:
        for method in methods(door):
            kind = "websocket" if method == "SOCKET" else "http"
            path = address(door.route.path, MINE)  # type: ignore[attr-defined]
            scope: Scope = {"type": kind, "method": method, "path": path, "headers": []}
            fitting = [d for d in doors if d.route.matches(dict(scope))[0] is Match.FULL]
            assert fitting, path
            assert {d.permission for d in fitting} == {door.permission}, path


def route_of(doors: Sequence[Guarded], path: str) -> str:
    """The route that answers when a page is asked for."""
    scope: Scope = {"type": "http", "method": "GET", "path": path, "headers": []}
    for door in doors:
        match, _ = door.route.matches(scope)
        if match is Match.FULL:
            return str(door.route.path)  # type: ignore[attr-defined]
    return ""


class _Offers(HTMLParser):
    """Where a page's links and forms lead, each with its method."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, str]] = []
        self._feed_page = page

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "a" and given.get("href"):
            self.found.append(("GET", given["href"] or ""))
        if tag == "form":
            self.found.append(((given.get("method") or "get").upper(), given.get("action") or ""))
        if tag in {"button", "input"} and given.get("formaction"):
            self.found.append(
                ((given.get("formmethod") or "post").upper(), given["formaction"] or "")
            )


def offers(page: str, text: str) -> set[tuple[str, str]]:
    """The method and address of each, without queries; only those of the desk itself."""
    parser = _Offers(page)
    parser.feed(text)
    led = {(method, urlsplit(urljoin(page, to))) for method, to in parser.found}
    return {(method, to.path) for method, to in led if not to.scheme and not to.netloc}


VILLAGE = 1
HERE = {
    **{f"{n} of one": person(role, VILLAGE) for n, role in ROLES.items() if n != "owner"},
    "adviser of all": person(PersonRole.ADVISER, None),
    "a paired device": paired("d"),
}


@pytest.fixture(scope="module")
def client(village_book: Path) -> Iterator[TestClient]:
    made = make_application(village_book)
    made.state.desk.is_warm.set()
    yield TestClient(made, base_url="http://127.0.0.1", client=("127.0.0.1", 5))
    made.state.desk.book.close()


@pytest.mark.parametrize("name", HERE)
def test_no_page_offers_what_its_visitor_may_not(
    name: str,
    doors: Sequence[Guarded],
    client: TestClient,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Every link and form of every page that a visitor finds by following links leads somewhere."""
    visitor = HERE[name]

    async def given(*_: object) -> Visitor:
        return visitor

    monkeypatch.setattr(Gate, "_visitor", given)
    asking = Asking(doors, tmp_path)
    seen: set[str] = set()  # a page of each route is enough
    waiting, wrong = ["/"], set()
    while waiting:
        page = waiting.pop()
        route = route_of(doors, page)
        if route in seen:
            continue
        seen.add(route)
        answer = client.get(page, headers={"accept": "text/html"})
        assert answer.status_code not in {401, 403}, page
        if not answer.headers.get("content-type", "").startswith("text/html"):
            continue
        for method, to in sorted(offers(str(answer.url.path), answer.text)):
            if asking.ask(method, to, visitor) != "in":
                wrong.add((route, method, to))
            elif method == "GET":
                waiting.append(to)
    assert sorted(wrong) == []
    assert len(seen) > 5
