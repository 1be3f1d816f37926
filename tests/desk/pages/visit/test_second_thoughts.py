"""A recording of more than was stated: accepted as heard, relabelled, left out."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.desk.conftest import Open, Server
from tests.desk.looking import look_at
from tests.survey.organs import SMALL, rendered_walk
from walkboard.book.opening import create_book
from walkboard.organ.reading import read_organ
from walkboard.work.hear_recordings import ToHear, hear_walk_file
from walkboard.work.open_book import now
from walkboard.work.snapshot import opened_to_see
from walkboard.work.visit import keep_heard

PRINCIPAL, OCTAVE, TWELFTH = "great.principal8", "great.octave4", "great.twelfth"


@pytest.fixture(scope="module")
def chapel(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("thoughts")
    organ, sharp = read_organ(SMALL), read_organ(SMALL.replace("440.0", "442.0"))
    # The second rank 8 cents sharp, so that it shows within two seconds.
    two = [
        rendered_walk(one, stop, keys=8).samples
        for one, stop in ((organ, PRINCIPAL), (sharp, TWELFTH))
    ]
    count = min(len(sound) for sound in two)
    both = np.asarray(two[0][:count] + two[1][:count])
    with create_book(folder / "book", clock=now) as book:
        book.add_organ(organ.name, SMALL)
        visit = book.open_visit(1, "before the carol service", minutes=60.0)
        for name, gain in (("first", 1.0), ("second", 0.9)):
            path = folder / f"{name}.wav"
            soundfile.write(path, gain * both, 24_000, subtype="PCM_24")
            walk = hear_walk_file(None, ToHear(path, SMALL, (PRINCIPAL,), 18.0))
            assert walk.heard is not None
            assert not walk.heard.believed
            keep_heard(book, visit, path, walk)
    running = Server(folder / "book")
    running.start()
    yield running
    running.stop()


def test_one_press_accepts_what_was_heard_and_another_leaves_a_recording_out(
    chapel: Server, open_page: Open
) -> None:
    page = open_page(f"{chapel.address}/organ/1/visit/listen")
    page.wait_for_selector("#heard article")
    first = page.locator("#heard article").first
    assert "Twelfth" in first.inner_text()
    with page.expect_navigation():
        first.get_by_role("button", name=re.compile("Accept as .*Principal 8.*Twelfth 2")).click()
    accepted = page.locator("#heard article").first
    assert accepted.get_by_role("button", name="Accept").count() == 0
    with page.expect_navigation():
        page.locator("#heard article").nth(1).get_by_role("button", name="Discard").click()
    assert page.locator("#heard article").count() == 1
    with opened_to_see(chapel.book) as book:
        (left,) = book.recordings(1)
        assert left.walk.drawn == (PRINCIPAL, TWELFTH)
        assert left.walk.measured
        assert len(book.withdrawn_recordings(1)) == 1


def test_a_recording_is_relabelled_on_a_page_of_its_own(chapel: Server, open_page: Open) -> None:
    page = open_page(f"{chapel.address}/organ/1/visit/listen")
    assert page.locator("#heard [type=checkbox]").count() == 0
    page.get_by_role("link", name=re.compile("Something else was drawn for .*Principal 8")).click()
    page.wait_for_selector("h2:has-text('Something else was drawn')")
    look_at(page, "visit-relabel")
    assert page.is_checked(f"[value='{PRINCIPAL}']")
    assert page.is_checked(f"[value='{TWELFTH}']")
    assert not page.is_checked(f"[value='{OCTAVE}']")
    page.fill("[name=air]", "16.5")
    with page.expect_navigation():
        page.get_by_role("button", name="Hear it again with these stops").click()
    assert "16.5" in page.locator("#heard article").first.inner_text()
    with opened_to_see(chapel.book) as book:
        (left,) = book.recordings(1)
        assert left.walk.air_celsius == 16.5
        assert left.walk.drawn == (PRINCIPAL, TWELFTH)


def test_one_press_accepts_a_refused_recording_as_the_stop_heard(
    chapel: Server, open_page: Open, tmp_path: Path
) -> None:
    sound = tmp_path / "octave.wav"
    walked = rendered_walk(read_organ(SMALL), OCTAVE, lowest="C5", keys=14).samples
    soundfile.write(sound, walked, 24_000, subtype="PCM_24")
    page = open_page(f"{chapel.address}/organ/1/visit/listen")
    page.click("#stops summary")
    page.check(f"[value='{PRINCIPAL}']")
    page.set_input_files("#files", sound)
    page.wait_for_selector("text=This sounds like Octave", timeout=60_000)
    with page.expect_navigation():
        page.get_by_role("button", name="Accept as Octave 4").click()
    page.wait_for_selector("#heard article:has-text('octave.wav')", timeout=60_000)
    assert page.locator("#coming .coming").count() == 0
    with opened_to_see(chapel.book) as book:
        (kept,) = (one for one in book.recordings(1) if one.file_name == "octave.wav")
        assert kept.walk.drawn == (OCTAVE,)
        assert kept.walk.believed
        assert kept.walk.measured


def test_conditions_noted_wrong_are_corrected_from_the_page(
    chapel: Server, open_page: Open
) -> None:
    page = open_page(f"{chapel.address}/organ/1/visit/arrival")
    page.fill("[name='air.great']", "18.4")
    page.fill("[name=humidity]", "55")
    page.click("main button.main")
    page.wait_for_selector("#noted .sheet")
    page.fill("[name='air.great']", "14.8")
    page.get_by_role("button", name="Correct the last").click()
    page.wait_for_selector("text=14.8\N{NO-BREAK SPACE}°C")
    assert page.locator("#noted .sheet").count() == 1
    with opened_to_see(chapel.book) as book:
        (noted,) = book.visit(1).conditions
        assert noted.air_celsius == {"great": 14.8}
        assert noted.humidity == 0.55


def test_a_recording_left_out_by_mistake_can_be_restored(chapel: Server, open_page: Open) -> None:
    with opened_to_see(chapel.book) as book:
        before = [one.id for one in book.recordings(1)]
    page = open_page(f"{chapel.address}/organ/1/visit/recordings/{before[-1]}/label")
    page.wait_for_load_state()
    with page.expect_navigation():
        page.get_by_role("button", name="Leave this recording out").click()
    assert page.url.endswith("/visit/listen")
    with opened_to_see(chapel.book) as book:
        assert [one.id for one in book.recordings(1)] == before[:-1]
    page.click("#left-out summary")
    page.locator("#left-out").get_by_role("link", name="octave.wav").click()
    page.wait_for_selector("h2:has-text('Take it in again')")
    assert page.get_by_role("button", name="Leave this recording out").count() == 0
    with page.expect_navigation():
        page.get_by_role("button", name="Hear it again with these stops").click()
    page.wait_for_selector("#heard article:has-text('octave.wav')")
    with opened_to_see(chapel.book) as book:
        assert [one.id for one in book.recordings(1)] == before
