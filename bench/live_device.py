"""The whole way from a sound card to two browsers: PortAudio on a PulseAudio null sink, replugged.

A null sink plays a pipe that is 7 cents sharp; PortAudio records its monitor as it would a
microphone; two browsers show the reading. Every minute a line: readings painted a second, the worst
of them, blocks lost, memory, processor. Halfway the sink is unloaded for six seconds, as when the
microphone's plug is pulled, and loaded again.
Needs PulseAudio, its ALSA plugin and PortAudio from Debian, and no server of that user running.
Run: python -m bench live_device, or python -m bench.live_device [MINUTES]
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from playwright.sync_api import Page, sync_playwright
from tests.desk.books import make_book
from tests.desk.conftest import Server
from tests.desk.live_playing import open_tasks, write
from tests.desk.looking import LAPTOP, PHONE

from bench.live_link import memory_mb, spent_s
from walkboard.organ import examples

CENTS = 7.0
AWAY_S = 6.0
_SINK = ("module-null-sink", "sink_name=organ", "rate=48000")
_ASOUNDRC = 'pcm.!default {\n  type pulse\n  device "organ.monitor"\n}\n'
_WATCH = """() => import("/static/measured.js").then(({ newest }) => {
  window.painted = [];
  let n = -1;
  const paint = () => {
    const update = newest();
    if (update?.on && update.n !== n) {
      n = update.n;
      window.painted.push([update.n, Date.now() - update.heard_ms, update.cents, update.sigma,
        update.level.lost, update.flags.length]);
    }
    requestAnimationFrame(paint);
  };
  requestAnimationFrame(paint);
})"""


class Sound:
    """A PulseAudio server of its own that plays one file again and again into a null sink."""

    def __init__(self, folder: Path) -> None:
        (folder / ".asoundrc").write_text(_ASOUNDRC)
        os.environ |= {"HOME": str(folder), "XDG_RUNTIME_DIR": str(folder)}
        self._server = subprocess.Popen(
            [
                *("pulseaudio", "--daemonize=no", "--exit-idle-time=-1", "--disallow-exit", "-n"),
                *("-L", "module-native-protocol-unix", "-L", " ".join(_SINK)),
                *("-L", "module-always-sink"),
            ],
            stderr=subprocess.DEVNULL,
        )
        self._player: subprocess.Popen[bytes] | None = None
        for _ in range(50):
            if subprocess.run(["pactl", "info"], capture_output=True, check=False).returncode == 0:
                return
            time.sleep(0.1)
        raise SystemExit("PulseAudio does not start")

    def play(self, path: Path) -> None:
        again = 'while paplay --device=organ "$0"; do :; done'
        self._player = subprocess.Popen(["sh", "-c", again, str(path)], start_new_session=True)

    def unplug(self) -> None:
        self._hush()
        subprocess.run(["pactl", "unload-module", "module-null-sink"], check=True)

    def plug_in(self, path: Path) -> None:
        subprocess.run(["pactl", "load-module", *_SINK], check=True, capture_output=True)
        self.play(path)

    def _hush(self) -> None:
        if self._player is not None:
            os.killpg(self._player.pid, 15)
            self._player.wait()
            self._player = None

    def stop(self) -> None:
        self._hush()
        self._server.terminate()
        self._server.wait()


def seen(page: Page) -> np.ndarray:
    """What a browser has painted since it was asked last, shape (n, 6)."""
    rows = page.evaluate("window.painted.splice(0)")
    return np.array(rows, dtype=float).reshape(-1, 6)


def line(name: str, server: Server, pages: list[Page], since: tuple[float, float]) -> None:
    parts = [seen(page) for page in pages]
    took_s = time.monotonic() - since[0]
    share = (spent_s(server.pid) - since[1]) / took_s
    cells = []
    for rows in parts:
        known = rows[np.isfinite(rows[:, 2])]
        plain = known[known[:, 5] == 0]
        worst = np.abs(plain[:, 2] - CENTS).max() if len(plain) else np.nan
        late = np.quantile(rows[:, 1], 0.95) if len(rows) else np.nan
        lost = rows[-1, 4] if len(rows) else np.nan
        cells.append(
            f" {len(rows) / took_s:.1f} | {len(known)} | {worst:.2f} | {late:.0f} | {lost:.0f} |"
        )
    print(f"| {name} |{''.join(cells)} {memory_mb(server.pid):.0f} | {share:.0%} |", flush=True)


def main() -> None:
    minutes = int(sys.argv[1]) if sys.argv[1:] and sys.argv[1].isdigit() else 60
    if not (shutil.which("pulseaudio") and shutil.which("pactl")):
        print("no PulseAudio here: not run")
        return
    with tempfile.TemporaryDirectory() as temporary, sync_playwright() as playwright:
        folder = Path(temporary)
        book = folder / "village"
        make_book(book, examples.village(), visits=1)
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox"]
        )
        sound = Sound(folder)
        server = Server(book)
        server.start()
        try:
            task = open_tasks(server)[0]
            path = write(folder / "one.wav", (task, CENTS, 55.0))
            sound.play(path)
            control = browser.new_page(viewport=LAPTOP)  # type: ignore[arg-type]
            control.goto(f"{server.address}/organ/1/live")
            control.wait_for_selector("html[data-link=fresh]")
            control.click("#start-microphone")
            control.wait_for_selector("#stop")
            pages = []
            for size in (PHONE, LAPTOP):
                page = browser.new_page(viewport=size)  # type: ignore[arg-type]
                page.goto(f"{server.address}/organ/1/pipe")
                page.wait_for_selector("html[data-link=fresh]")
                page.evaluate(_WATCH)
                pages.append(page)
            print(
                "| minute | painted a second | with a value | worst plain, cents | 95 % late, ms |"
                " lost | the same of the laptop: | | | | | memory MB | of a core |"
            )
            print("| --- " * 13 + "|")
            for minute in range(1, minutes + 1):
                since = time.monotonic(), spent_s(server.pid)
                if minute == minutes // 2 + 1:
                    sound.unplug()
                    pages[0].wait_for_timeout(1000.0 * AWAY_S)
                    line("unplugged", server, pages, since)
                    sound.plug_in(path)
                    since = time.monotonic(), spent_s(server.pid)
                pages[0].wait_for_timeout(60_000.0)
                line(str(minute), server, pages, since)
            control.click("#stop")
            control.wait_for_selector("#start-microphone")
        finally:
            browser.close()
            server.stop()
            sound.stop()


if __name__ == "__main__":
    main()
