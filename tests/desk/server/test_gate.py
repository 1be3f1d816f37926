"""Strangers stay outside: foreign hosts and origins, forged cookies, too much, tricky paths."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from tests.desk.asking import client_of
from walkboard.desk.frame.pairing import COOKIE, FILE, Devices, Pairing
from walkboard.desk.server.application import make_application

SHARED = "192.168.7.5"
LIVE = "/live?topics=book"


@pytest.fixture(scope="module")
def application(village_book: Path):
    made = make_application(village_book, shared_address=SHARED)
    yield made
    made.state.desk.book.close()


@pytest.fixture
def at_home(application) -> TestClient:
    return client_of(application)


@pytest.fixture
def phone(application) -> Iterator[TestClient]:
    client = client_of(application, SHARED, "192.168.7.20")
    yield client
    for device in application.state.desk.pairing.devices.all():
        application.state.desk.pairing.devices.revoke(device.id)


def pair(application, phone: TestClient) -> None:
    code = application.state.desk.pairing.show()
    assert phone.post("/pair", data={"code": code.letters, "name": "Loft"}).status_code == 303


def test_the_desk_itself_comes_in(at_home: TestClient) -> None:
    assert at_home.get("/organs").status_code == 200
    assert at_home.get("/sharing").status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8740", "127.0.0.1.evil.example", "192.168.7.6", ""]
)
def test_a_foreign_host_is_misdirected(at_home: TestClient, host: str) -> None:
    assert at_home.get("/organs", headers={"Host": host}).status_code == 421


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": "https://127.0.0.1:8740"},
        {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_post_from_another_site_is_refused(at_home: TestClient, headers: dict[str, str]) -> None:
    answer = at_home.post("/preferences", data={"look": "dark"}, headers=headers)
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_the_desk_itself_has_a_live_channel(at_home: TestClient) -> None:
    with at_home.websocket_connect(f"ws://127.0.0.1:8740{LIVE}") as channel:
        channel.send_json({"seen": 0, "stamp": 1.0})
        assert channel.receive_json()["n"] == 1


def test_a_live_channel_from_another_site_is_refused(at_home: TestClient) -> None:
    with (
        pytest.raises(WebSocketDisconnect),
        at_home.websocket_connect(
            f"ws://127.0.0.1:8740{LIVE}", headers={"Origin": "http://evil.example"}
        ),
    ):
        pass


@pytest.mark.parametrize(
    "path", ["/", "/organs", "/sharing", "/organ/1", "/nothing", "/static/../devices", "/outbox"]
)
def test_a_stranger_sees_no_page(phone: TestClient, path: str) -> None:
    answer = phone.get(path)
    assert answer.status_code == 401
    assert "Brask" not in answer.text


def test_a_stranger_gets_no_live_channel(phone: TestClient) -> None:
    with pytest.raises(WebSocketDisconnect), phone.websocket_connect(f"ws://{SHARED}:8740{LIVE}"):
        pass


def test_a_stranger_cannot_pass_for_the_desk_by_its_host(application) -> None:
    liar = TestClient(application, base_url="http://localhost:8740", client=("192.168.7.20", 5))
    assert liar.get("/organs").status_code == 401


@pytest.mark.parametrize("token", ["x", "' OR 1=1 --", "A" * 43, ""])
def test_a_forged_cookie_opens_nothing(phone: TestClient, token: str) -> None:
    phone.cookies.set(COOKIE, token)
    assert phone.get("/organs").status_code == 401


def test_a_paired_phone_comes_in_but_does_not_pair_others(application, phone: TestClient) -> None:
    pair(application, phone)
    assert phone.get("/organs").status_code == 200
    assert phone.get("/sharing").status_code == 403
    assert phone.post("/sharing/code").status_code == 403
    with phone.websocket_connect(f"ws://{SHARED}:8740{LIVE}") as channel:
        channel.send_json({"seen": 0, "stamp": 1.0})
        assert channel.receive_json()["n"] == 1


def test_a_revoked_phone_stays_outside(application, phone: TestClient, at_home: TestClient) -> None:
    pair(application, phone)
    (device,) = application.state.desk.pairing.devices.all()
    assert device.name == "Loft"
    assert at_home.post("/sharing/revoke", data={"device": device.id}).status_code == 303
    assert phone.get("/organs").status_code == 401


def test_the_cookie_is_not_for_scripts_and_only_its_hash_is_kept(
    application, phone: TestClient, village_book: Path
) -> None:
    code = application.state.desk.pairing.show()
    reported = phone.post("/pair", data={"code": code.letters}).headers["set-cookie"]
    assert "HttpOnly" in reported
    assert "SameSite=lax" in reported
    token = phone.cookies[COOKIE]
    kept = village_book / FILE
    assert token not in kept.read_text(encoding="utf-8")
    assert kept.stat().st_mode & 0o077 == 0
    again = Devices(village_book)  # as after a restart
    assert again.known(token) is not None


def test_answers_let_a_browser_load_nothing_but_our_own(at_home: TestClient) -> None:
    for path in ("/organs", "/nothing", "/static/desk.css"):
        headers = at_home.get(path).headers
        assert headers["content-security-policy"].startswith(
            "default-src 'none'; script-src 'self'"
        )
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["referrer-policy"] == "same-origin"
        assert headers["x-content-type-options"] == "nosniff"


def test_too_much_is_refused_by_what_it_says_and_by_what_it_is(at_home: TestClient) -> None:
    assert at_home.post("/pair", content=b"x" * 5000).status_code == 413

    def endless() -> Iterator[bytes]:
        yield from (b"code=" + b"x" * 1000 for _ in range(20))

    form = {"Content-Type": "application/x-www-form-urlencoded"}
    assert at_home.post("/pair", content=endless(), headers=form).status_code == 413


@pytest.mark.parametrize(
    "path",
    ["/static/../../../pyproject.toml", "/static/%2e%2e/desk.py", "/static//etc/passwd",
     "/static/..%5cdesk.py"],
)  # fmt: skip
def test_tricks_with_paths_lead_nowhere(at_home: TestClient, path: str) -> None:
    assert at_home.get(path).status_code in {400, 404}


@pytest.mark.parametrize("back", ["//evil.example", "http://evil.example/", "/\\evil.example", "x"])
def test_a_choice_leads_back_to_our_own_pages_only(at_home: TestClient, back: str) -> None:
    answer = at_home.post("/preferences", data={"look": "dark", "back": back})
    assert answer.headers["location"] == "/"


def test_a_code_works_once_and_for_two_minutes_and_five_tries(tmp_path: Path) -> None:
    now_s = 0.0
    pairing = Pairing(Devices(tmp_path), clock_s=lambda: now_s)
    code = pairing.show().letters
    assert len(code) == 8
    assert pairing.redeem(f"{code[:4]}-{code[4:].lower()}", "Phone") is not None
    assert pairing.redeem(code, "Phone") is None
    code = pairing.show().letters
    now_s = 119.9
    assert pairing.seconds_left() == pytest.approx(0.1)
    now_s = 120.0
    assert pairing.redeem(code, "Phone") is None
    code = pairing.show().letters
    for _ in range(5):
        assert pairing.redeem("00000000", "Phone", "192.168.1.66") is None
    assert pairing.redeem(code, "Phone", "192.168.1.66") is None
    assert len(pairing.devices.all()) == 1
    # the stranger has locked out only himself
    paired = pairing.redeem(code, "Phone", "192.168.1.7")
    assert paired is not None
    assert paired[0].name == "Phone 2"  # the history tells devices apart by their names
