"""The guide opened from a disk in Debian's Chromium: it plays the organ's own pitch, offline."""

from __future__ import annotations

import base64
import re
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from playwright.sync_api import Browser, Page

from tests.browser import close
from tests.desk.looking import look_at
from tests.scales.test_tuning_files import dumped_hz
from tests.work.guide.recorded import KEYS, STOPS, recorded_book, sounding_hz
from tests.work.guide.test_clips import hz_of
from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.reading import read_organ
from walkboard.sheets.front_page.news import Language
from walkboard.work import open_book
from walkboard.work.guide.write import guide_phrases, write_guide

RATE = 48_000


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("guide")
    recorded_book(made / "book")
    with open_book.opened(made / "book") as book:
        organ = read_organ(book.organ(1).description)
        write_guide(book, organ, book.visit(1), made / "guide", rights="Ours; do listen.")
    return made


@pytest.fixture(scope="module")
def page(browser: Browser, folder: Path) -> Iterator[Page]:
    context = browser.new_context(offline=True)
    opened = context.new_page()
    asked: list[str] = []
    opened.on("request", lambda request: asked.append(request.url))
    opened.goto((folder / "guide" / "index.html").as_uri())
    yield opened
    assert all(url.startswith(("file:", "data:", "blob:")) for url in asked)
    close(context)


def rendered(page: Page, stop: str, key: int, seconds: float = 5.0) -> NDArray[np.float64]:
    text = page.evaluate(
        """async ([stop, key, seconds]) => {
          const samples = await window.guide.render([[stop, key, 0]], seconds);
          const bytes = new Uint8Array(samples.buffer);
          let text = "";
          for (let i = 0; i < bytes.length; i += 32768)
            text += String.fromCharCode(...bytes.subarray(i, i + 32768));
          return btoa(text);
        }""",
        [stop, key, seconds],
    )
    return np.frombuffer(base64.b64decode(text), np.float32).astype(np.float64)


@pytest.mark.parametrize("stop", STOPS)
def test_rendered_keys_sound_at_the_pitch_of_the_pipe(page: Page, folder: Path, stop: str) -> None:
    with open_book.opened(folder / "book") as book:
        organ = read_organ(book.organ(1).description)
    for number in (13, 14, 19, 23, 25):
        key = organ.rank(stop).key_of(number).semitone
        sound = rendered(page, stop, key)[RATE // 2 :]
        hz = sounding_hz(organ, stop, number)
        assert abs(1200.0 * np.log2(hz_of(sound, hz) / hz)) < 0.1, (stop, number)
        pieces = sound[: len(sound) // 2400 * 2400].reshape(-1, 2400)
        power = (pieces**2).mean(axis=1)
        assert power.min() > 0.5 * np.median(power), "the sound drops out"


def test_one_gain_keeps_the_stops_loudness_against_each_other(page: Page) -> None:
    level = {
        stop: 10.0 * np.log10((rendered(page, stop, 60, 2.0)[RATE:] ** 2).mean()) for stop in STOPS
    }
    # Made 6 dB apart at the first partial, with the same fall-off of the others.
    apart = level["great.principal8"] - level["great.octave4"]
    assert apart == pytest.approx(6.0, abs=0.4)


def test_a_key_plays_while_it_is_held_and_what_is_drawn_is_what_sounds(page: Page) -> None:
    page.locator('[data-key="60"]').focus()
    page.keyboard.down("Enter")
    page.wait_for_function("document.getElementById('said').textContent === 'Tick a stop first.'")
    page.keyboard.up("Enter")
    page.get_by_label("Octave").check()
    page.get_by_label("Trumpet").check()
    page.locator('[data-key="60"]').focus()
    page.keyboard.down("Enter")
    page.wait_for_function("window.guide.down.get(60)?.length === 2")
    assert page.locator('[data-key="60"]').get_attribute("aria-pressed") == "true"
    page.keyboard.up("Enter")
    page.wait_for_function("window.guide.down.size === 0")
    assert page.locator('[data-key="60"]').get_attribute("aria-pressed") == "false"


def test_the_page_says_what_each_stop_is(page: Page) -> None:
    rows = page.locator(".stops li").all_inner_texts()
    (trumpet,) = [row for row in rows if "Trumpet" in row]
    (octave,) = [row for row in rows if "Octave" in row]
    (twelfth,) = [row for row in rows if "Twelfth" in row]
    assert "C2 to" in trumpet
    assert "louder than most" in trumpet
    assert "brighter than most (+" in trumpet
    assert "about as loud as most" in octave  # 6 dB less, but A-weighted an octave up: 1.3 dB
    assert "about as bright as most" in octave
    assert "no sound" in twelfth
    assert "Ours; do listen." in page.locator("main").inner_text()


def test_the_page_is_accessible_in_both_looks_and_sizes(page: Page) -> None:
    look_at(page, "guide")


def test_the_tuning_files_hold_the_measured_pitch(folder: Path) -> None:
    names = {path.name for path in (folder / "guide").iterdir()}
    assert names == {"index.html", "lessons.html"} | {
        f"{family}.{kind}" for family in ("flues", "reeds") for kind in ("syx", "scl", "kbm")
    }
    with open_book.opened(folder / "book") as book:
        organ = read_organ(book.organ(1).description)
    found = dumped_hz((folder / "guide" / "reeds.syx").read_bytes())
    for number in KEYS:
        key = organ.rank("great.trumpet8").key_of(number).semitone
        hz = sounding_hz(organ, "great.trumpet8", number)
        assert abs(1200.0 * np.log2(found[key] / hz)) < 0.01


def test_sounds_can_be_left_out(folder: Path, tmp_path: Path) -> None:
    with open_book.opened(folder / "book") as book:
        organ, visit = read_organ(book.organ(1).description), book.visit(1)
        some = write_guide(book, organ, visit, tmp_path / "some", without=["great.trumpet8"])
        text = some.read_text(encoding="utf-8")
        assert text.count('type="checkbox" value=') == 2
        none = write_guide(book, organ, visit, tmp_path / "none", with_sound=False)
        assert '"opus"' not in none.read_text(encoding="utf-8")
        with pytest.raises(UnknownNameError):
            write_guide(book, organ, visit, tmp_path / "odd", without=["great.odd"])


def test_a_visit_without_a_stop_recorded_alone_is_refused(folder: Path, tmp_path: Path) -> None:
    shutil.copytree(folder / "book", tmp_path / "book")
    with open_book.opened(tmp_path / "book") as book:
        book.close_visit(1)
        visit = book.open_visit(1, "")
        organ = read_organ(book.organ(1).description)
        with pytest.raises(InputError, match="nothing to play"):
            write_guide(book, organ, visit, tmp_path / "guide")


@pytest.fixture
def lessons(page: Page, folder: Path) -> Iterator[Page]:
    other = page.context.new_page()
    other.goto((folder / "guide" / "lessons.html").as_uri())
    yield other
    other.close()


def slide(page: Page, slider: str, value: float) -> None:
    page.locator(slider).evaluate(
        "(e, value) => { e.value = value; e.dispatchEvent(new Event('input')); }", value
    )


def lesson_sound(page: Page, name: str, which: slice) -> NDArray[np.float64]:
    text = page.evaluate(
        """async ([name, from, to]) => {
          const voices = window.lessons.voices(name).slice(from, to);
          const samples = await window.lessons.render(voices, 4);
          let text = "";
          const bytes = new Uint8Array(samples.buffer);
          for (let i = 0; i < bytes.length; i += 32768)
            text += String.fromCharCode(...bytes.subarray(i, i + 32768));
          return btoa(text);
        }""",
        [name, which.start, which.stop],
    )
    return np.frombuffer(base64.b64decode(text), np.float32).astype(np.float64)[RATE // 2 :]


def test_beats_sound_as_often_as_the_page_says(lessons: Page, folder: Path) -> None:
    slide(lessons, "#beats-cents", 20.0)
    with open_book.opened(folder / "book") as book:
        organ = read_organ(book.organ(1).description)
    hz = sounding_hz(organ, "great.principal8", 25)
    expected = hz * (2.0 ** (20.0 / 1200.0) - 1.0)
    assert f"20 cents: {expected:.1f} beats a second." in lessons.inner_text("#beats-said")
    # The second pipe alone stands 20 cents above the first: measured, not read off the page.
    for which, cents in ((slice(0, 1), 0.0), (slice(1, 2), 20.0)):
        heard = hz_of(lesson_sound(lessons, "beats", which), hz * 2.0 ** (cents / 1200.0))
        assert abs(1200.0 * np.log2(heard / hz) - cents) < 0.1


def test_a_warm_room_raises_the_lip_pipe_against_the_reed(lessons: Page) -> None:
    """Outside check: c ∝ √T (ISO 9613-1:1993), 600·log2(T₂/T₁) cents."""
    hz: list[float] = []
    for celsius in (18.0, 28.0):
        slide(lessons, "#warmth-celsius", celsius)
        hz.append(
            hz_of(lesson_sound(lessons, "warmth", slice(0, 1)), 262.0 * (1.0 if not hz else 1.017))
        )
    raised = 1200.0 * np.log2(hz[1] / hz[0])
    assert abs(raised - 600.0 * np.log2(301.15 / 291.15)) < 0.15
    assert "cents above the reed" in lessons.inner_text("#warmth-said")
    slide(lessons, "#warmth-celsius", 8.0)
    assert "cents below the reed" in lessons.inner_text("#warmth-said")


def test_a_pure_third_does_not_beat(lessons: Page) -> None:
    # 5/4 is 386.31 cents; at a step of the slider beside it the fifth partial beats slowly.
    slide(lessons, "#third-cents", 386.5)
    assert "386.5 cents: 0.1 beats a second." in lessons.inner_text("#third-said")


def test_each_experiment_plays_and_falls_silent(lessons: Page) -> None:
    for name, voices in (("beats", 2), ("warmth", 2), ("third", 2)):
        lessons.click(f'[data-play="{name}"]')
        lessons.wait_for_function(f"window.lessons.isPlaying() === {voices}")
        lessons.click("#silence")
        lessons.wait_for_function("window.lessons.isPlaying() === 0")
    lessons.click("#ask")
    lessons.wait_for_function("window.lessons.isPlaying() === 1")
    for kind in ("open pipe", "reed"):
        lessons.click(f"#answers >> text={kind}")
        if lessons.inner_text("#verdict").startswith("Yes"):
            break
        assert lessons.inner_text("#verdict") == "Listen again."
    else:
        pytest.fail("no answer was right")
    for stop in ("Principal", "Octave"):
        lessons.click(f"#ladder >> text={stop}")
    lessons.wait_for_function("window.lessons.isPlaying() === 2")
    assert "2 times the 8 foot" in lessons.inner_text("#feet-said")


def test_the_experiments_are_accessible(lessons: Page) -> None:
    look_at(lessons, "lessons")


@pytest.mark.parametrize("language", [Language.GERMAN, Language.FRENCH])
def test_the_pages_are_written_in_other_languages_without_a_word_of_english(
    page: Page, folder: Path, tmp_path: Path, language: Language
) -> None:
    with open_book.opened(folder / "book") as book:
        organ, visit = read_organ(book.organ(1).description), book.visit(1)
        write_guide(book, organ, visit, tmp_path / "guide", language=language)
    texts = guide_phrases(language).texts
    for name, said in (("index.html", texts["stops"]), ("lessons.html", texts["lessons"]["which"])):
        other = page.context.new_page()
        other.goto((tmp_path / "guide" / name).as_uri())
        assert other.locator("html").get_attribute("lang") == language.value
        assert said in other.inner_text("main")
        english = guide_phrases(Language.ENGLISH).texts
        for key in ("keyboard", "compared", "all_stops", "silence"):
            if english[key] != texts[key]:
                assert english[key] not in other.inner_text("main")
        if name == "lessons.html":
            slide(other, "#beats-cents", 20.5)
            expected = texts["script"]["beats"].split("{cents}")[1].split("{beats}")[0]
            assert f"20,5{expected}" in other.inner_text("#beats-said")
            look_at(other, f"lessons-{language.value}")
        other.close()


def test_each_language_of_the_guide_has_every_text_with_its_gaps() -> None:
    def gaps(table: Mapping[str, Any], at: str = "") -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for key, text in table.items():
            if isinstance(text, str):
                found[at + key] = sorted(re.findall(r"\{\w+\}", text))
            else:
                found |= gaps(text, f"{at}{key}.")
        return found

    english = gaps(guide_phrases(Language.ENGLISH).texts)
    assert len(english) > 50
    for language in (Language.GERMAN, Language.FRENCH):
        assert gaps(guide_phrases(language).texts) == english
