"""A microphone where there is none: a PulseAudio of the test's own with a null sink to hear."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

SINK = "organ"
PROGRAMS = ("pulseaudio", "pactl", "paplay")
PACKAGES = "pulseaudio pulseaudio-utils libasound2-plugins libportaudio2"
_ASOUNDRC = (
    f'pcm.!default {{ type pulse\ndevice "{SINK}.monitor" }}\nctl.!default {{ type pulse }}\n'
)


def missing() -> list[str]:
    """Programs that are not installed."""
    return [program for program in PROGRAMS if shutil.which(program) is None]


@dataclass(frozen=True)
class NullSink:
    """The sound server; `environment` is for what is to hear it."""

    folder: Path

    @property
    def environment(self) -> dict[str, str]:
        own = {"HOME": str(self.folder), "XDG_RUNTIME_DIR": str(self.folder)}
        kept = {k: v for k, v in os.environ.items() if not k.startswith(("PULSE", "DBUS"))}
        return {**kept, **own}

    def run(self, *words: str) -> str:
        done = subprocess.run(
            words, env=self.environment, capture_output=True, text=True, timeout=20, check=True
        )
        return done.stdout

    def plug(self) -> None:
        """Put the microphone in."""
        self.run("pactl", "load-module", "module-null-sink", f"sink_name={SINK}", "rate=48000")
        self.run("pactl", "set-default-source", f"{SINK}.monitor")

    def unplug(self) -> None:
        """Pull it out."""
        self.run("pactl", "unload-module", "module-null-sink")

    def play(self, sound: Path) -> subprocess.Popen[bytes]:
        """Sound what the microphone hears."""
        return subprocess.Popen(["paplay", f"--device={SINK}", str(sound)], env=self.environment)


@contextmanager
def null_sink(folder: Path) -> Iterator[NullSink]:
    """A sound server that lives as long as the block."""
    folder.mkdir(parents=True, exist_ok=True)
    folder.chmod(0o700)
    (folder / ".asoundrc").write_text(_ASOUNDRC, encoding="ascii")
    sink = NullSink(folder)
    server = subprocess.Popen(
        [
            "pulseaudio",
            "--daemonize=no",
            "--exit-idle-time=-1",
            "--disallow-exit",
            "-n",
            "-L",
            "module-native-protocol-unix",
            "-L",
            "module-always-sink",
        ],
        env=sink.environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait_for(sink)
        sink.plug()
        yield sink
    finally:
        server.terminate()
        server.wait(10)


def _wait_for(sink: NullSink) -> None:
    ends = time.monotonic() + 20.0
    while True:
        try:
            sink.run("pactl", "info")
        except (subprocess.SubprocessError, OSError):
            if time.monotonic() > ends:
                raise
            time.sleep(0.1)
        else:
            return
