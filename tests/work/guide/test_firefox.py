"""The guide and the experiments in Debian's Firefox: the same pitch, no request, accessible."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from tests.desk.looking import AXE_OPTIONS
from tests.firefox import FIREFOX, Tab, firefox
from tests.work.guide.recorded import STOPS, recorded_book, sounding_hz
from tests.work.guide.test_clips import hz_of
from walkboard.organ.reading import read_organ
from walkboard.work import open_book
from walkboard.work.guide.write import write_guide

pytestmark = pytest.mark.skipif(
    FIREFOX is None, reason="Firefox is not installed (Debian: firefox-esr)"
)
RATE = 48_000
_AXE = f"""axe.run(document, {json.dumps(AXE_OPTIONS)}).then((found) => ({{
  passes: found.passes.length,
  violations: found.violations.map((v) => v.id + ": " + v.help),
}}))"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("guide")
    recorded_book(made / "book")
    with open_book.opened(made / "book") as book:
        organ = read_organ(book.organ(1).description)
        write_guide(book, organ, book.visit(1), made / "guide")
    return made


@pytest.fixture(scope="module")
def tab() -> Iterator[Tab]:
    with firefox() as opened:
        yield opened


def look_at_in_firefox(tab: Tab) -> None:
    """Nothing found by axe-core, and nothing wider than the window, on a laptop and on a phone."""
    tab.evaluate(f"(() => {{ {_axe_source()}; return null; }})()")
    for width, height in ((1280, 800), (390, 844)):
        tab.resize(width, height)
        found = tab.evaluate(_AXE)
        assert found["passes"] > 0, "axe-core checked nothing"
        assert found["violations"] == []
        assert tab.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0


def _axe_source() -> str:
    return files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")


def test_keys_sound_at_the_pitch_of_the_pipe_and_nothing_is_fetched(tab: Tab, folder: Path) -> None:
    tab.open((folder / "guide" / "index.html").as_uri())
    with open_book.opened(folder / "book") as book:
        organ = read_organ(book.organ(1).description)
    for stop in STOPS:
        for number in (13, 14, 25):  # a clip of its own, a key between, the highest
            key = organ.rank(stop).key_of(number).semitone
            text = tab.evaluate(
                f"""window.guide.render([["{stop}", {key}, 0]], 4).then((samples) => {{
                  const bytes = new Uint8Array(samples.buffer);
                  let text = "";
                  for (let i = 0; i < bytes.length; i += 32768)
                    text += String.fromCharCode(...bytes.subarray(i, i + 32768));
                  return btoa(text);
                }})"""
            )
            sound = np.frombuffer(base64.b64decode(text), np.float32).astype(float)[RATE // 2 :]
            hz = sounding_hz(organ, stop, number)
            assert abs(1200.0 * np.log2(hz_of(sound, hz) / hz)) < 0.1, (stop, number)
            power = (sound[: len(sound) // 2400 * 2400].reshape(-1, 2400) ** 2).mean(axis=1)
            assert power.min() > 0.5 * np.median(power), "the sound drops out"
    look_at_in_firefox(tab)
    assert all(url.startswith(("file:", "data:", "blob:")) for url in tab.requests)


def test_the_five_experiments_work(tab: Tab, folder: Path) -> None:
    tab.open((folder / "guide" / "lessons.html").as_uri())
    # The small organ has no stopped pipe; every experiment is possible without one.
    assert all(tab.evaluate("window.lessons.possible").values())
    for name in ("beats", "warmth", "third"):
        assert tab.evaluate(
            f"""window.lessons.render(window.lessons.voices("{name}"), 1)
                .then((samples) => samples.some((s) => Math.abs(s) > 0.001))"""
        )
    slid = """(() => {
      const slider = document.getElementById("beats-cents");
      slider.value = 20;
      slider.dispatchEvent(new Event("input"));
      return document.getElementById("beats-said").textContent;
    })()"""
    assert tab.evaluate(slid).startswith("20 cents: ")
    look_at_in_firefox(tab)
