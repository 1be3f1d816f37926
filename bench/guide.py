"""The hall's guide in both of Debian's browsers: size, time to load, pitch and drop-outs, axe.

The demo's ten walks (its own synthesiser, room and slips), recorded, heard and kept at one visit;
the guide of that visit is opened from the disk. Forty keys are drawn by lot from all keys that were
held, four of each stop; what the page renders of each is measured by the phase of its strongest
partial against time, and held against what the synthesiser knows of that pipe. *Page*: against the
pitch that the page means to play, that is, without the listening's own error. Chromium is driven by
Playwright and cut off from the network; in Firefox every request is noted.
Run: python -m bench guide
"""

from __future__ import annotations

import base64
import statistics
import tempfile
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from playwright.sync_api import Page, sync_playwright
from tests.desk.looking import assert_accessible
from tests.firefox import FIREFOX, firefox
from tests.work.guide.test_clips import hz_of
from tests.work.guide.test_firefox import look_at_in_firefox

from walkboard.demo.hall import HallState, hall_state
from walkboard.demo.walks import WalkPlan, record, walks
from walkboard.organ import examples
from walkboard.organ.reading import read_organ
from walkboard.quantities import cents_of_ratio
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.work import open_book, visit
from walkboard.work.guide.write import write_guide
from walkboard.work.hear_recordings import ToHear, hear_walk_file

SEED, KEYS, LOADS, SECONDS, RATE = 2031, 40, 7, 5.0, 48_000
_RENDER = """window.guide.render([["{stop}", {key}, 0]], {seconds}).then((samples) => {{
  const bytes = new Uint8Array(samples.buffer);
  let text = "";
  for (let i = 0; i < bytes.length; i += 32768)
    text += String.fromCharCode(...bytes.subarray(i, i + 32768));
  return btoa(text);
}})"""
_LOADED_MS = "performance.getEntriesByType('navigation')[0].loadEventEnd"
_TARGET = "stops.get('{stop}').hz['{key}']"

Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Key:
    """A key to render: its stop, MIDI number, and the pitch of its pipe [Hz]."""

    stop: str
    key: int
    hz: float


@dataclass(frozen=True)
class Driven:
    """A browser: its name, how to open a page and evaluate in it, axe-core, and its requests."""

    name: str
    go: Callable[[str], None]
    evaluate: Callable[[str], Any]
    look: Callable[[], None]
    asked: list[str]


def main() -> None:
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        keys = make(folder)
        page = folder / "guide" / "index.html"
        text = page.read_text(encoding="utf-8")
        stops, clips = text.count('type="checkbox" value='), text.count('"opus"')
        lessons = page.with_name("lessons.html")
        print(
            f"{stops} stops, {clips} clips, {page.stat().st_size / 1e6:.1f} MB;"
            f" experiments {lessons.stat().st_size / 1e6:.1f} MB",
            flush=True,
        )
        with sync_playwright() as play:
            browser = play.chromium.launch(
                executable_path="/usr/bin/chromium", args=["--no-sandbox"]
            )
            tab = browser.new_context(offline=True).new_page()
            asked: list[str] = []
            tab.on("request", lambda request: asked.append(request.url))
            chromium = Driven(
                f"Chromium {browser.version}",
                lambda address: _open(tab, address),
                tab.evaluate,
                lambda: assert_accessible(tab),
                asked,
            )
            judge(chromium, page, keys)
            browser.close()
        if FIREFOX is None:
            print("Firefox is not installed (Debian: firefox-esr): not measured")
            return
        with firefox() as other:
            look = partial(look_at_in_firefox, other)
            driven = Driven(
                f"Firefox {other.version}", other.open, other.evaluate, look, other.requests
            )
            judge(driven, page, keys)


def _open(tab: Page, address: str) -> None:
    tab.goto(address)


def make(folder: Path) -> list[Key]:
    """Write the guide into ``folder/guide``; the keys to render."""
    organ = read_organ(examples.hall())
    state = hall_state(organ, SEED)
    plans = walks(organ)
    chance = np.random.default_rng(SEED)
    keys = []
    with (
        ProcessPoolExecutor(2) as pool,
        open_book.new(folder / "book") as book,
    ):
        kept = book.add_organ(organ.name, examples.hall())
        opened = book.open_visit(kept.id, "guide")
        done = pool.map(
            _recorded, plans, [state] * len(plans), range(len(plans)), [folder] * len(plans)
        )
        for plan, (heard, true) in zip(plans, done, strict=True):
            visit.keep_heard(book, opened, folder / plan.file, heard)
            drawn = chance.choice(sorted(true), KEYS // len(plans), replace=False).tolist()
            keys += [Key(plan.drawn[0], key, true[key]) for key in drawn]
        write_guide(book, organ, opened, folder / "guide")
    return keys


def _recorded(
    plan: WalkPlan, state: HallState, number: int, folder: Path
) -> tuple[HeardWalk, dict[int, float]]:
    """What was heard, and the mean pitch of each key's lowest pipe while it was held [Hz]."""
    made = record(plan, state, SEED + number, folder)
    air = state.thermometer_celsius[plan.division]
    heard = hear_walk_file(None, ToHear(made.path, examples.hall(), plan.drawn, air))
    true: dict[int, float] = {}
    for hold in made.truth.holds:
        pipes = [p for p in hold.pipes if p.speaks == 1]
        if pipes and not hold.slips and hold.key == hold.wanted:
            true[hold.key.semitone] = min(
                p.mean_hz(hold.start_s + 0.5, hold.end_s - 0.1) for p in pipes
            )
    return heard, true


def judge(browser: Driven, page: Path, keys: list[Key]) -> None:
    """Load, look, render and measure in one browser."""
    loads = []
    for _ in range(LOADS):
        browser.go(page.as_uri())
        loads.append(float(browser.evaluate(_LOADED_MS)) / 1000.0)
    browser.look()
    from_truth, from_page, lowest = [], [], []
    for key in keys:
        text = browser.evaluate(_RENDER.format(stop=key.stop, key=key.key, seconds=SECONDS))
        sound = np.frombuffer(base64.b64decode(text), np.float32).astype(np.float64)[RATE // 2 :]
        heard = measured_hz(sound, key.hz)
        from_truth.append(abs(cents_of_ratio(heard / key.hz)))
        meant = float(browser.evaluate(_TARGET.format(stop=key.stop, key=key.key)))
        from_page.append(abs(cents_of_ratio(heard / meant)))
        power = (sound[: len(sound) // 2400 * 2400].reshape(-1, 2400) ** 2).mean(axis=1)
        lowest.append(10.0 * np.log10(power.min() / np.median(power)))
    outside = [url for url in browser.asked if not url.startswith(("file:", "data:", "blob:"))]
    print(f"{browser.name}; axe-core finds nothing")
    print(f"  loaded from disk: median {statistics.median(loads):.2f} s, worst {max(loads):.2f} s")
    print(f"  requests beyond the disk: {len(outside)}")
    for words, errors in (("against the pipe", from_truth), ("against the page", from_page)):
        over = sum(error > 0.1 for error in errors)
        print(
            f"  pitch of {len(errors)} keys {words}: median {np.median(errors):.3f} cent,"
            f" worst {max(errors):.3f}, {over} over 0.1"
        )
    print(
        f"  lowest 50 ms of each key in {SECONDS:.0f} s: median {np.median(lowest):.1f} dB,"
        f" worst {min(lowest):.1f} dB under its middle"
    )


def measured_hz(sound: Samples, near_hz: float) -> float:
    """Pitch of a steady sound, from the strongest of its first six partials [Hz]."""
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    step = RATE / len(sound)

    def power(number: int) -> float:
        at = round(number * near_hz / step)
        return float(spectrum[max(at - 8, 0) : at + 9].sum())

    numbers = [n for n in range(1, 7) if n * near_hz < 0.4 * RATE]
    best = max(numbers, key=power)
    return hz_of(sound, best * near_hz) / best
