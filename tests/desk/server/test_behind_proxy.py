"""Behind the firm's proxy: nobody is at the desk, only its own name is answered, strangers wait."""

from __future__ import annotations

import re
import shutil
import socket
import subprocess
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx2
import pytest
from starlette.testclient import TestClient

from tests.desk.conftest import eventually
from tests.desk.firm import OTHER, OURS, firm_book, running
from walkboard.book.people.records import PersonRole
from walkboard.desk.frame.access import SESSION_COOKIE
from walkboard.desk.frame.origin import Origin
from walkboard.desk.frame.patience import Limits, Patience
from walkboard.desk.frame.signing_in import SigningIn
from walkboard.desk.server.application import make_application
from walkboard.work import open_book
from walkboard.work.people import roster, sessions

ORIGIN = "https://organs.example.org"
DOCS = Path(__file__).resolve().parents[3] / "docs" / "people.md"


@pytest.fixture(scope="module")
def book(village_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return firm_book(village_book, tmp_path_factory.mktemp("firm") / "book")


@pytest.fixture(scope="module")
def application(book: Path):
    made = make_application(book, signing_in=SigningIn.at(Origin.parse(ORIGIN)))
    yield made
    made.state.desk.book.close()


def client(application, address: str = "203.0.113.9") -> TestClient:  # RFC 5737: for documents
    return TestClient(application, base_url=ORIGIN, client=(address, 5), follow_redirects=False)


def sign_in(book: Path, name: str, role: PersonRole, organ: int | None) -> str:
    with open_book.opened(book) as opened:
        person = roster.add(opened, name, role, organ)
        return sessions.begin(opened, person.id, "Browser", datetime.now(UTC))


@pytest.mark.parametrize("address", ["127.0.0.1", "::1", "203.0.113.9"])
def test_nobody_is_at_the_desk(application, address: str) -> None:
    for path in ("/", "/organs", "/sharing", "/organ/1", "/people", "/account"):
        assert client(application, address).get(path).status_code == 401, path
    page = client(application, address).get("/organ/1/book", headers={"Accept": "text/html"})
    assert page.status_code == 303
    assert page.headers["location"] == "/sign-in?to=/organ/1/book"


@pytest.mark.parametrize("host", ["127.0.0.1:8740", "localhost", "evil.example", "example.org"])
def test_only_requests_to_its_own_name_are_answered(application, host: str) -> None:
    # nginx sends its own name for the desk where proxy_set_header Host is forgotten.
    assert (
        client(application, "127.0.0.1").get("/sign-in", headers={"Host": host}).status_code == 421
    )


def test_a_paired_devices_cookie_opens_nothing(application) -> None:
    _, token = application.state.desk.pairing.devices.add("Phone")
    phone = client(application)
    phone.cookies.set("walkboard_device", token)
    assert phone.get("/organs").status_code == 401


def test_without_the_option_nobody_gets_in_through_a_proxy(book: Path) -> None:
    made = make_application(book)
    try:
        home = TestClient(made, base_url="http://127.0.0.1:8740", client=("127.0.0.1", 5))
        assert home.get("/organs").status_code == 200
        for name in ("X-Forwarded-For", "Forwarded", "Via", "X-Real-IP"):
            assert home.get("/organs", headers={name: "203.0.113.9"}).status_code == 401
    finally:
        made.state.desk.book.close()


def test_a_session_ends_when_asked_to(application, book: Path) -> None:
    token = sign_in(book, "Tom Tuner", PersonRole.TUNER, None)
    tom = client(application)
    tom.cookies.set(SESSION_COOKIE, token)
    assert tom.get("/organs").status_code == 200
    answer = tom.post("/sign-out", headers={"Origin": ORIGIN})
    assert "storage" in answer.headers["clear-site-data"]
    tom.cookies.set(SESSION_COOKIE, token)
    assert tom.get("/organs").status_code == 401


def test_a_removed_person_is_out_at_once(application, book: Path) -> None:
    ada = client(application)
    ada.cookies.set(SESSION_COOKIE, sign_in(book, "Ada Adviser", PersonRole.ADVISER, None))
    assert ada.get(f"/organ/{OTHER}").status_code == 200
    with open_book.opened(book) as opened:  # as the command line does, in another program
        roster.remove(opened, roster.named(opened, "Ada Adviser"))
    assert ada.get(f"/organ/{OTHER}").status_code == 401


def test_a_session_that_is_over_opens_nothing(application, book: Path) -> None:
    with open_book.opened(book) as opened:
        person = roster.add(opened, "Late", PersonRole.OWNER, None)
        long_ago = datetime.now(UTC) - sessions.LASTS - timedelta(seconds=1)
        token = sessions.begin(opened, person.id, "", long_ago)
    late = client(application)
    late.cookies.set(SESSION_COOKIE, token)
    assert late.get("/organs").status_code == 401


def test_another_site_sends_nothing_in_a_persons_name(application, book: Path) -> None:
    owner = client(application)
    owner.cookies.set(SESSION_COOKIE, sign_in(book, "Olive Owner", PersonRole.OWNER, None))
    mallory = {"name": "Mallory", "role": "owner", "organ": "all"}
    for headers in (
        {"Origin": "https://evil.example"},
        {"Origin": "http://organs.example.org"},
        {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"},
    ):
        assert owner.post("/people/add", data=mallory, headers=headers).status_code == 403
    assert owner.post("/people/add", data=mallory, headers={"Origin": ORIGIN}).status_code == 303


def test_a_phones_outbox_is_asked_for_each_organ(application, book: Path) -> None:
    tuner = client(application)
    tuner.cookies.set(SESSION_COOKIE, sign_in(book, "One Organ", PersonRole.TUNER, OTHER))
    at = datetime.now(UTC).isoformat()
    body = {"visit": 3, "pipe": "great.open8:3", "state": "done"}  # a visit to the first organ
    sent = {"settings": [{"uid": "a-tick-of-mine", "kind": "tick", "at": at, "body": body}]}
    outcome = tuner.post("/outbox", json=sent).json()["outcomes"]["a-tick-of-mine"]
    assert outcome["state"] == "refused"
    assert "not permitted" in outcome["why"]
    nameless = {"settings": [{**sent["settings"][0], "uid": "a-tick-of-none", "body": {}}]}
    assert (
        tuner.post("/outbox", json=nameless).json()["outcomes"]["a-tick-of-none"]["state"]
        == "refused"
    )
    with open_book.opened(book) as opened:
        assert "a-tick-of-mine" not in {tick.uid for tick in opened.ticks(3)}


def test_what_belongs_to_another_organ_is_not_found_by_its_number(application, book: Path) -> None:
    # The path names an organ that she may read; the number is of the other one.
    ada = client(application)
    ada.cookies.set(SESSION_COOKIE, sign_in(book, "Only Other", PersonRole.ADVISER, OTHER))
    with open_book.opened(book) as opened:
        fault = opened.report_fault(OURS, "cipher", "of the first organ").id
        recording = opened.recordings(3)[0].id
    for path in (
        "book/visit/3", "visit/3/closed", "visit/3/report.pdf", f"faults/{fault}",
        f"sound/{recording}/1.wav",
    ):  # fmt: skip
        assert ada.get(f"/organ/{OTHER}/{path}").status_code == 404, path
        assert ada.get(f"/organ/{OURS}/{path}").status_code == 403, path


def test_strangers_wait_and_nobody_else_does(application, book: Path) -> None:
    code = {"code": "00000-00000-00000-00000-00000"}
    stranger = client(application, "198.51.100.7")
    answers = [stranger.post("/sign-in/code", data=code).status_code for _ in range(6)]
    assert answers == [403] * 5 + [429]
    assert int(stranger.post("/sign-in/code", data=code).headers["retry-after"]) >= 1
    assert stranger.post("/sign-in/passkey", json={}).status_code == 429
    assert client(application, "198.51.100.8").post("/sign-in/code", data=code).status_code == 403
    owner = client(application, "198.51.100.7")  # the same address, signed in before
    owner.cookies.set(SESSION_COOKIE, sign_in(book, "Olive Owner", PersonRole.OWNER, None))
    assert owner.get("/organs").status_code == 200


def test_a_script_that_guesses_passkeys_waits(application) -> None:
    guesser = client(application, "198.51.100.9")
    answers = [guesser.post("/sign-in/passkey", json={}) for _ in range(7)]
    assert [answer.status_code for answer in answers] == [403] * 5 + [429] * 2
    assert answers[0].json()["trouble"]
    assert int(answers[-1].headers["retry-after"]) >= 1
    assert guesser.post("/sign-in/code", data={"code": "0"}).status_code == 429


def test_waits_double_and_are_forgotten() -> None:
    now_s = 0.0
    patience = Patience(Limits(free=2, first_s=1.0, longest_s=8.0, forget_s=100.0), lambda: now_s)
    waits = []
    for _ in range(7):
        patience.failed("a")
        waits.append(patience.wait_s("a"))
    assert waits == [0.0, 1.0, 2.0, 4.0, 8.0, 8.0, 8.0]
    now_s = 8.0
    assert patience.wait_s("a") == 0.0
    now_s = 108.0
    patience.failed("a")
    assert patience.wait_s("a") == 0.0
    # One client has a whole /64 of IPv6 (RFC 6177), but only one address of IPv4.
    for number in range(3):
        patience.failed(f"2001:db8::{number}")
    assert patience.wait_s("2001:db8::ffff") == 2.0
    assert patience.wait_s("2001:db8:0:1::1") == 0.0
    patience.succeeded("2001:db8::9")
    assert patience.wait_s("2001:db8::ffff") == 0.0


def test_a_flood_of_addresses_takes_no_room() -> None:
    patience = Patience(Limits(most=10))
    for number in range(1000):
        patience.failed(f"10.0.{number // 256}.{number % 256}")
    assert len(patience._failures) == 10


@pytest.fixture(scope="module")
def nginx(book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, Path]]:
    """The example of the docs, with a port and a certificate of its own; gives both."""
    program = shutil.which("nginx")
    if program is None:
        pytest.skip("Debian's nginx is not installed: the example of docs/people.md is not tried")
    folder = tmp_path_factory.mktemp("nginx")
    certificate, key = folder / "pem", folder / "key"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
         "-nodes", "-days", "2", "-subj", "/CN=localhost",
         "-addext", "subjectAltName=DNS:localhost",
         "-keyout", key, "-out", certificate],
        check=True, capture_output=True,
    )  # fmt: skip
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    example = re.search(r"```nginx\n(.*?)```", DOCS.read_text(encoding="utf-8"), re.DOTALL)
    assert example is not None
    with running(book, origin=f"https://localhost:{port}") as (_, behind):
        server = example[1]
        for said, here in (
            ("listen 443 ssl", f"listen 127.0.0.1:{port} ssl"),
            ("organs.example.org;", "localhost;"),
            ("/etc/ssl/organs.example.org.pem", str(certificate)),
            ("/etc/ssl/organs.example.org.key", str(key)),
            ("127.0.0.1:8740", f"127.0.0.1:{behind}"),
        ):
            assert said in server
            server = server.replace(said, here)
        temporary = "".join(
            f"{kind}_temp_path {folder};\n"
            for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        )
        settings = folder / "nginx.conf"
        settings.write_text(
            f"daemon off; pid {folder}/pid; error_log {folder}/errors; events {{}}\n"
            f"http {{ access_log off;\n{temporary}{server}}}\n",
            encoding="utf-8",
        )
        process = subprocess.Popen([program, "-e", folder / "errors", "-c", settings])
        try:
            eventually(lambda: _listens(port))
            yield port, certificate
        finally:
            process.terminate()
            process.wait(timeout=30)


def _listens(port: int) -> bool:
    with socket.socket() as asking:
        return asking.connect_ex(("127.0.0.1", port)) == 0


def test_the_example_of_the_docs_lets_people_in_and_strangers_wait(
    nginx: tuple[int, Path], book: Path
) -> None:
    port, certificate = nginx
    home = f"https://localhost:{port}"
    import ssl

    trusting = ssl.create_default_context(cafile=str(certificate))
    with httpx2.Client(verify=trusting, base_url=home, follow_redirects=False) as browser:
        page = browser.get("/organs", headers={"Accept": "text/html"})
        assert (page.status_code, page.headers["location"]) == (303, "/sign-in?to=/organs")
        assert browser.get("/sign-in").status_code == 200
        # What a stranger says about where he comes from is not believed.
        for number in range(6):
            said = {"X-Forwarded-For": f"198.51.100.{number}", "Origin": home}
            answer = browser.post("/sign-in/code", data={"code": "x"}, headers=said)
        assert answer.status_code == 429
        token = sign_in(book, "Olive Owner", PersonRole.OWNER, None)
        browser.cookies.set(SESSION_COOKIE, token)
        assert browser.get("/organs").status_code == 200
        assert browser.post("/sign-out", headers={"Origin": home}).status_code == 303


def test_the_live_channel_passes_the_proxy(nginx: tuple[int, Path], book: Path) -> None:
    import ssl

    import websockets
    from websockets.sync.client import connect

    port, certificate = nginx
    token = sign_in(book, "Olive Owner", PersonRole.OWNER, None)
    with connect(
        f"wss://localhost:{port}/live?topics=book",
        ssl=ssl.create_default_context(cafile=str(certificate)),
        origin=websockets.Origin(f"https://localhost:{port}"),
        additional_headers={"Cookie": f"{SESSION_COOKIE}={token}"},
    ) as channel:
        channel.send('{"seen": 0, "stamp": 1.0}')
        assert '"n": 1' in channel.recv(timeout=20.0)
