"""The live measurement on the pages: pipes played in real time, read at the pipe and at the desk.

The sounds are made by `tests.signals`, which shares no code with Walkboard: the cents are known.
"""

from __future__ import annotations

import re
import signal
from pathlib import Path

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Page, Route

from tests.desk.conftest import Open, Server, eventually, wait_until_fresh
from tests.desk.live_playing import cents_on, open_tasks, play, write
from tests.desk.looking import PHONE, assert_accessible, look_at
from tests.listening.live_sounds import RATE, moved
from walkboard.work.snapshot import opened_to_see

COLOUR_OF_CENTS = "getComputedStyle(document.getElementById('m-cents')).color"
TOLERANCE_CENTS = 0.15  # of a note of two seconds with room and wind, and the page's own tenth


def at_the_pipe(server: Server, open_page: Open) -> Page:
    return open_page(f"{server.address}/organ/1/pipe", size=PHONE)


def pipe_of(page: Page) -> str:
    return str(page.get_attribute("#one", "data-pipe"))


def stop(page: Page, server: Server) -> dict[str, str]:
    answer = page.request.post(f"{server.address}/organ/1/live/stop")
    assert answer.ok
    reported: dict[str, str] = answer.json()
    return reported


def test_a_pipe_in_tune_is_ticked_and_the_next_is_measured(
    own_server: Server, open_page: Open, tmp_path: Path
) -> None:
    first, second = open_tasks(own_server)[:2]
    page = at_the_pipe(own_server, open_page)
    assert page.is_hidden("#measured")
    assert pipe_of(page) == str(first.pipe)
    holder = open_page(f"{own_server.address}/organ/1/holding/worklist")
    play(page, own_server, write(tmp_path / "two.wav", (first, 0.2, 3.5), (second, 7.0, 20.0)))
    page.wait_for_selector("#measured:not([hidden])")
    eventually(lambda: abs(cents_on(page) - 0.2) < TOLERANCE_CENTS)
    assert page.inner_text("#m-sign") == "●"
    # in tune and settled: ticked with what it was, and both pages go on
    eventually(lambda: pipe_of(page) == str(second.pipe))
    said = [float(number) for number in re.findall(r"[+−]?\d\.\d", page.inner_text("#m-finished"))]
    assert said == pytest.approx([0.2, 0.2], abs=TOLERANCE_CENTS)
    with opened_to_see(own_server.book) as book:
        tick = book.pipe_states(3)[first.pipe]
    assert tick.state == "done"
    assert tick.note.startswith("before +0.")
    eventually(lambda: holder.inner_text("#now") == page.inner_text("#key"))
    eventually(lambda: holder.inner_text("#heard") == "Keep holding")
    # the next is measured while it sounds
    eventually(lambda: abs(cents_on(page) - 7.0) < TOLERANCE_CENTS)
    assert (page.inner_text("#m-sign"), page.inner_text("#m-word")) == ("▲", "cents sharp")
    eventually(lambda: page.inner_text("#m-words") not in {"Listening", ""})
    assert "M" in str(page.get_attribute("#m-line", "d"))
    look_at(page, "live-pipe")
    desk = open_page(f"{own_server.address}/organ/1/live")
    eventually(lambda: abs(cents_on(desk) - 7.0) < TOLERANCE_CENTS)
    assert float(str(desk.evaluate("document.getElementById('level').value"))) > 20.0
    look_at(desk, "live-desk")
    kept = stop(page, own_server)
    assert kept["file"].startswith("live-")
    eventually(lambda: page.inner_text("#m-words") == "The live session has ended")
    with opened_to_see(own_server.book) as book:
        newest = book.recordings(3)[-1]
        assert newest.walk.file == kept["file"]
        assert soundfile.info(str(book.sound_path(newest.id))).format == "FLAC"
        assert newest.walk.holds[0].readings[0].pipe == first.pipe
    # undo opens it again
    page.click("#thumb:not([data-rest]) #undo")
    eventually(lambda: state_of(own_server, str(first.pipe)) == "open")
    assert pipe_of(page) == str(first.pipe)


def test_done_is_withdrawn_on_the_page_when_the_pipe_moves_while_its_key_is_held(
    own_server: Server, open_page: Open, tmp_path: Path
) -> None:
    # As where a hand that had pulled the pipe onto its target leaves after "done".
    first = open_tasks(own_server)[0]
    page = at_the_pipe(own_server, open_page)
    sound = moved(
        first.target_hz,
        lambda t: np.where(t < 5.0, 0.1, 5.0),
        "flue",
        np.random.default_rng(3),
        seconds=20.0,
        reverberation_s=0.8,
    )
    soundfile.write(tmp_path / "moves.wav", sound.samples, RATE, subtype="PCM_16")
    play(page, own_server, tmp_path / "moves.wav")
    eventually(lambda: pipe_of(page) != str(first.pipe))  # called done: the next is up
    assert state_of(own_server, str(first.pipe)) == "done"
    eventually(lambda: "has moved and is not done" in page.inner_text("#m-finished"))
    (stands,) = re.findall(r"[+−]?\d\.\d", page.inner_text("#m-finished"))
    assert float(stands) == pytest.approx(5.0, abs=0.5)
    assert pipe_of(page) == str(first.pipe)
    eventually(lambda: state_of(own_server, str(first.pipe)) == "open")
    eventually(lambda: abs(cents_on(page) - 5.0) < TOLERANCE_CENTS)
    stop(page, own_server)


def state_of(server: Server, pipe: str) -> str | None:
    with opened_to_see(server.book) as book:
        return next((t.state for p, t in book.pipe_states(3).items() if str(p) == pipe), None)


def test_the_desk_hears_the_pipe_that_the_tuner_goes_to(
    own_server: Server, open_page: Open, tmp_path: Path
) -> None:
    first, second, third = open_tasks(own_server)[:3]
    page = at_the_pipe(own_server, open_page)
    while pipe_of(page) != str(first.pipe):
        page.click("#back")
    play(page, own_server, write(tmp_path / "third.wav", (third, -4.0, 20.0)))
    page.wait_for_selector("#measured:not([hidden])")
    # by keyboard alone: skip one, look at the next
    page.wait_for_selector("#thumb:not([data-rest])")
    page.focus("#skip")
    page.keyboard.press("Enter")
    assert pipe_of(page) == str(second.pipe)
    page.focus("#next")
    page.keyboard.press("Enter")
    assert pipe_of(page) == str(third.pipe)
    eventually(lambda: abs(cents_on(page) + 4.0) < TOLERANCE_CENTS)
    assert (page.inner_text("#m-sign"), page.inner_text("#m-word")) == ("▼", "cents flat")
    # a server that falls silent: what is shown is dimmed after 0.7 s, and can still be read
    fresh = page.evaluate(COLOUR_OF_CENTS)
    own_server.signal(signal.SIGSTOP)
    try:
        page.wait_for_selector("#measured[data-old]", timeout=3000)
        assert page.evaluate(COLOUR_OF_CENTS) != fresh
        assert_accessible(page)
    finally:
        own_server.signal(signal.SIGCONT)
    wait_until_fresh(page)
    page.wait_for_selector("#measured:not([data-old])")
    assert state_of(own_server, str(third.pipe)) in {None, "open"}
    # the reference that was chosen is still shown when the page is loaded again
    desk = open_page(f"{own_server.address}/organ/1/live")
    chosen = str(desk.get_attribute("#beside option:nth-child(3)", "value"))
    # a choice is taken at once, though what shows the readings is still on its way
    slow: list[Route] = []
    desk.route("**/measured.js*", lambda route: slow.append(route))  # noqa: PLW0108 - its name is read
    desk.reload(wait_until="domcontentloaded")
    wait_until_fresh(desk)
    with desk.expect_response("**/reference*"):
        desk.select_option("#beside", chosen)
    assert slow
    for route in slow:
        route.continue_()
    desk.reload()
    assert desk.input_value("#beside") == chosen
    # a desk that is killed: the recording is in the book when it is started again
    before = recordings_of(own_server)
    own_server.kill()
    assert recordings_of(own_server) == before
    own_server.start()
    eventually(lambda: recordings_of(own_server) == before + 1)


def recordings_of(server: Server) -> int:
    with opened_to_see(server.book) as book:
        return len(book.recordings(3))


@pytest.mark.long
def test_an_old_reading_is_dimmed_although_the_link_is_fresh(
    own_server: Server, open_page: Open
) -> None:
    page = at_the_pipe(own_server, open_page)
    value = {
        "on": True, "visit": 3, "kind": "microphone", "source": "a", "tolerance": 0.5,
        "heard_ms": 0, "step": "listen", "pipe": pipe_of(page), "key": 60, "target": 262.0,
        "done": 0, "total": 9, "cents": -2.34, "sigma": 0.3, "beats": -0.4, "beside": 261.0,
        "within": None, "window": 0.5, "flags": [], "other": 62, "move": None, "finished": None,
        "settling": {"settled": -3.0, "sigma": 0.9, "seconds": 60, "known": 41, "above": 2.6,
                     "words": ""},
        "level": {"db": -0.2, "clipped": 7, "lost": 3, "words": ""},
    }  # fmt: skip

    def tell(number: int) -> None:
        page.request.post(
            f"{own_server.address}/tell",
            data={"topic": "listening", "value": {**value, "n": number}},
        )

    for number in range(1, 4):
        tell(number)
        page.wait_for_timeout(60)
    eventually(lambda: page.inner_text("#m-cents") == "2.3", 2.0)
    assert page.get_attribute("#measured", "data-old") is None
    assert page.inner_text("#m-settle").startswith("Believe it in about 40 s")
    assert page.inner_text("#m-beats") == "0.4 beats a second beside the reference"
    assert "× The input clips" in page.inner_text("#m-level-words")
    assert page.inner_text("#m-other") == "also heard: D4"
    page.wait_for_selector("#measured[data-old]", timeout=2000)
    assert page.get_attribute("html", "data-link") == "fresh"
    eventually(lambda: page.inner_text("#m-words").startswith("Nothing new"))
    assert page.inner_text("#m-cents") == "–"


@pytest.mark.long
def test_a_missing_microphone_is_reported_and_nothing_breaks(
    own_server: Server, open_page: Open
) -> None:
    page = open_page(f"{own_server.address}/organ/1/live")
    look_at(page, "live-choose")
    answer = page.request.post(f"{own_server.address}/organ/1/live/start?source=microphone")
    if answer.ok:
        stop(page, own_server)
        pytest.skip("this machine has a microphone")
    assert answer.status == 400
    assert answer.json()["trouble"]
