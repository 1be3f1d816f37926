"""The steps of a visit in a browser, and what they refuse."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import cast
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import Request, urlopen

import httpx2
import pytest
from playwright.sync_api import Browser, Dialog, Route

from tests.browser import CHROMIUM, close
from tests.desk.conftest import Open, Server, eventually
from tests.desk.looking import look_at
from walkboard.desk.background import upload_queue
from walkboard.desk.pages.visit.plan import _more
from walkboard.planning.plan import CurvePoint
from walkboard.work.snapshot import opened_to_see


def at_work(server: Server, step: str) -> str:
    return f"{server.address}/organ/1/visit/{step}"


def send(server: Server, body: bytes, **asked: str) -> tuple[int, dict[str, str]]:
    address = f"{at_work(server, 'recordings')}?{urlencode(asked)}"
    try:
        with urlopen(Request(address, body, method="POST"), timeout=20) as answer:
            return answer.status, json.load(answer)
    except HTTPError as error:
        with error:
            return error.code, json.load(error)


@pytest.mark.parametrize("step", ["arrival", "listen", "plan", "work", "close"])
def test_the_steps_are_accessible(server: Server, open_page: Open, step: str) -> None:
    page = open_page(at_work(server, step))
    page.wait_for_selector({"listen": "#walk", "plan": "#tried svg"}.get(step, "main"))
    look_at(page, f"visit-{step}")


def test_the_air_is_noted_again(own_server: Server, open_page: Open) -> None:
    page = open_page(at_work(own_server, "arrival"))
    page.click("main button.main")
    assert "Nothing was filled in" in page.inner_text(".notice:not([hidden])")
    page.fill("[name='air.swell']", "75")
    page.click("main button.main")
    assert "Air at swell of 75 °C is out of range" in page.inner_text(".notice:not([hidden])")
    page.fill("[name='air.swell']", "18.4")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=18.4\N{NO-BREAK SPACE}°C")
    assert page.locator("#noted .sheet").count() == 2


def test_the_plan_leaves_out_what_is_out_of_reach(server: Server, open_page: Open) -> None:
    page = open_page(at_work(server, "plan"))
    page.wait_for_selector("#tried td")
    assert "Oboe" in page.inner_text("#tried table")
    page.click("text=Leave ranks out")
    page.check("[value='swell.oboe8']")
    eventually(lambda: "Oboe" not in page.inner_text("#tried table"))
    page.fill("#wish [name=air]", "twenty")
    eventually(lambda: "“twenty” is not a valid number" in page.inner_text("#tried"))


def test_the_plan_says_what_each_rank_takes_off(server: Server, open_page: Open) -> None:
    page = open_page(at_work(server, "plan"))
    page.wait_for_selector("#tried .takes-off svg")
    shares = [float(s.split()[0]) for s in page.locator("td.takes-off").all_inner_texts()]
    left = float(page.inner_text("#tried dl .figure:nth-child(3) dd").split()[0])
    assert len(shares) > 1
    # Together they take off what the plan does not leave, but for the roundings.
    assert abs(100.0 - left - sum(shares)) < 1.0 + 0.05 * len(shares)
    bars = page.locator("td.takes-off .call-solid").evaluate_all(
        "all => all.map((bar) => Number(bar.getAttribute('width')))"
    )
    assert max(bars) == 100.0
    assert bars.index(100.0) == shares.index(max(shares))


def test_the_plan_asks_whether_the_hall_will_be_heated(server: Server, open_page: Open) -> None:
    page = open_page(at_work(server, "plan"))
    page.wait_for_selector("#tried table")
    assert page.locator(".plan-questions").count() == 0
    page.select_option("select[name=event]", "none")
    page.fill("#event-air", "29")
    page.wait_for_selector(".plan-questions a[href='#event-air']")
    asked = page.inner_text(".plan-questions")
    assert "Will it be heated or cooled by that much?" in asked
    look_at(page, "visit-plan-question")


def test_the_plan_follows_what_the_organ_mostly_plays(server: Server) -> None:
    def pipes(**asked: str) -> str:
        with httpx2.Client(base_url=server.address, headers={"Accept": "text/html"}) as asking:
            where = "/organ/1/visit/plan/try"
            answer = asking.get(where, params={"minutes": "20", "event": "none", **asked})
        assert answer.status_code == 200
        return answer.text[answer.text.index("<table") :]

    assert pipes(purpose="accompaniment") != pipes(purpose="recital")
    assert pipes() == pipes(purpose="hymns")


def test_the_next_plan_starts_with_what_the_last_was_made_for(
    own_server: Server, open_page: Open
) -> None:
    page = open_page(at_work(own_server, "plan"))
    assert page.input_value("[name=purpose]") == "hymns"
    page.wait_for_selector("#tried svg")
    page.select_option("[name=purpose]", "recital")
    page.click("main button.main")
    page.wait_for_url("**/visit/work")
    page.goto(at_work(own_server, "plan"))
    assert page.input_value("[name=purpose]") == "recital"


def test_divisions_played_coupled_are_planned_at_one_pitch(server: Server) -> None:
    def tried(coupled: str) -> tuple[int, str]:
        with httpx2.Client(base_url=server.address, headers={"Accept": "text/html"}) as asking:
            asked = {"minutes": "60", "event": "none", "coupled": coupled}
            answer = asking.get("/organ/1/visit/plan/try", params=asked)
        return answer.status_code, answer.text

    (apart, own), (together, one) = tried("great"), tried("great swell")
    assert apart == together == 200
    assert own[own.index("<details") :] != one[one.index("<details") :]  # pitch of each division
    status, text = tried("great choir")
    assert status == 400
    assert "no division" in text


def test_an_organ_mostly_plays_one_of_what_is_listed(server: Server) -> None:
    with httpx2.Client(base_url=server.address, headers={"Accept": "text/html"}) as asking:
        answer = asking.get("/organ/1/visit/plan/try", params={"purpose": "weddings"})
    assert answer.status_code == 400
    assert "one of those listed" in answer.text


def test_a_tick_is_undone_by_its_own_button(own_server: Server, open_page: Open) -> None:
    page = open_page(at_work(own_server, "work"))
    first = page.locator(".pipe").first
    pipe = str(first.get_attribute("data-pipe"))
    done = first.locator("[data-set=done]")
    for button, state, pressed in (("done", "done", "true"), ("open", "open", "false")):
        page.click(f"[data-pipe='{pipe}']:not([data-rest]) [data-set={button}]")
        assert done.get_attribute("aria-pressed") == pressed
        eventually(lambda: page.inner_text("#unsent") == "")
        with opened_to_see(own_server.book) as book:
            states = {str(p): t.state for p, t in book.pipe_states(3).items()}
        assert states[pipe] == state
        assert done.get_attribute("aria-pressed") == pressed
    assert page.evaluate("document.activeElement.id") == f"done-{pipe}"  # the focus has a place


def test_recordings_that_cannot_be_are_refused(own_server: Server) -> None:
    assert send(own_server, b"x")[1]["trouble"] == "Say which stops were drawn."
    code, said = send(own_server, b"x", drawn="great.nothing8")
    assert (code, "great.nothing8" in said["trouble"]) == (404, True)
    code, said = send(own_server, b"x", drawn="great.open8", air="cold")
    assert (code, "not a valid number" in said["trouble"]) == (400, True)
    assert send(own_server, b"x", drawn="great.open8", air="60")[0] == 400
    assert send(own_server, b"", drawn="great.open8")[1]["trouble"] == "The recording is empty."
    assert not list((own_server.book / upload_queue.FOLDER).glob("*"))


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("walk.wav", "walk.wav"),
        ("../../book.sqlite", "book.sqlite"),
        (r"C:\walks\..\Großes Werk 8′.flac", "Großes Werk 8′.flac"),
        ("..", "recording"),
        ("", "recording"),
        ("a\x00b\n<c>.wav", "abc.wav"),
        ("x" * 500 + ".wav", "x" * 116 + ".wav"),
    ],
)
def test_only_the_last_part_of_a_name_is_used(sent: str, kept: str) -> None:
    assert upload_queue.plain_name(sent) == kept


@pytest.mark.long
def test_what_cannot_be_heard_says_why_and_survives_a_restart(
    own_server: Server, open_page: Open
) -> None:
    code, said = send(own_server, b"no sound at all", name="../x.wav", drawn="great.open8")
    assert (code, said["name"]) == (201, "x.wav")
    page = open_page(at_work(own_server, "listen"))
    page.wait_for_selector(".coming >> text=Not heard.", timeout=60_000)
    assert "x.wav" in page.inner_text(".coming")
    own_server.stop()
    (waiting,) = upload_queue.waiting(own_server.book, 3)
    assert waiting.path.read_bytes() == b"no sound at all"
    own_server.start()
    page.goto(at_work(own_server, "listen"))
    page.wait_for_selector(".coming progress")  # it is tried again by itself
    page.click(".coming >> text=Dismiss")
    page.wait_for_selector(".coming", state="detached")
    assert not upload_queue.waiting(own_server.book, 3)


def test_a_microphone_is_recorded_unfiltered(
    own_server: Server, browser: Browser, tmp_path: Path
) -> None:
    """Chromium's own stand-in for a microphone (its --use-fake-device-for-media-stream) beeps."""
    from walkboard.listening.sound.recording import open_sound

    listening = browser.browser_type.launch(
        executable_path=CHROMIUM,
        args=[
            "--no-sandbox",
            "--use-fake-device-for-media-stream",
            "--use-fake-ui-for-media-stream",
        ],
    )
    page = listening.new_page()
    page.goto(at_work(own_server, "listen"))
    got: list[bytes] = []

    def take(route: Route) -> None:
        got.append(route.request.post_data_buffer or b"")
        route.fulfill(status=201, body="{}")

    page.route("**/visit/recordings**", take)
    page.click("#stops summary")
    page.check("[value='great.open8']")
    page.click("#record")
    eventually(lambda: "0:01" in page.inner_text("#record-state"))
    assert page.is_hidden("#taking-trouble")  # no filter of the browser is on
    page.click("#record-stop")
    eventually(lambda: len(got) == 1)
    listening.close()
    path = tmp_path / "walk.wav"
    path.write_bytes(got[0])
    with path.open("rb") as stream:
        sound = open_sound(stream, path.name)
        assert sound.info.channels == 1
        assert 0.8 < sound.info.seconds < 10.0
        assert "24" in sound.info.format


def test_a_visit_with_open_pipes_closes_only_if_confirmed(own_server: Server) -> None:
    with httpx2.Client(base_url=own_server.address, headers={"Accept": "text/html"}) as asking:
        answer = asking.post("/organ/1/visit/close/now", data={"note": "Too cold to go on."})
    assert answer.status_code == 400
    assert "were not done" in answer.text
    assert "Too cold to go on.</textarea>" in answer.text  # nothing typed is lost
    with opened_to_see(own_server.book) as book:
        assert book.visit(3).is_open


def test_a_humidity_is_refused_in_the_unit_that_was_typed(own_server: Server) -> None:
    with httpx2.Client(base_url=own_server.address, headers={"Accept": "text/html"}) as asking:
        answer = asking.post("/organ/1/visit/arrival", data={"humidity": "520"})
    assert answer.status_code == 400
    assert "The relative humidity cannot be 520 %." in answer.text


def test_without_scripts_the_plan_is_worked_out_when_asked(
    server: Server, browser: Browser
) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{server.address}/organ/1/visit/plan")
    assert page.locator(".loading:visible").count() == 0
    page.click("button[name=worked]")
    assert page.locator("#tried table").count() == 1
    close(context)


def test_a_recording_lost_by_loading_the_page_again_is_named(
    own_server: Server, open_page: Open, tmp_path: Path
) -> None:
    page = open_page(at_work(own_server, "listen"))
    sound = tmp_path / "my walk.wav"
    sound.write_bytes(b"RIFF" + bytes(2000))
    page.click("#stops summary")
    page.check("[value='great.open8']")
    page.route("**/visit/recordings*", lambda _: None)  # it never arrives
    page.set_input_files("#files", sound)
    page.wait_for_selector("#sending li")
    asked: list[str] = []

    def agree(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.accept()

    page.on("dialog", agree)
    page.reload()
    assert asked == ["beforeunload"]
    page.wait_for_selector("#taking-trouble:not([hidden])")
    assert "my walk.wav was not sent" in page.inner_text("#taking-trouble")


def test_the_plan_says_nothing_about_minutes_not_calculated() -> None:
    points = [CurvePoint(10.0, 80.0), CurvePoint(60.0, 50.0), CurvePoint(120.0, 40.0)]
    made = SimpleNamespace(cost_before=100.0)
    more = cast(Callable[..., float | None], _more)
    assert more(made, points, 0.0, 10.0) == pytest.approx(20.0)
    assert more(made, points, 50.0, 10.0) == pytest.approx(6.0)
    assert more(made, points, 115.0, 10.0) is None
    level = [*points, CurvePoint(130.0, 40.0)]
    assert more(made, level, 125.0, 60.0) == pytest.approx(0.0)  # nothing was left to gain
