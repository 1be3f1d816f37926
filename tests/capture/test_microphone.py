"""The microphone, on a stand-in for PortAudio that can lose blocks and be unplugged."""

import sys
import threading
import time
from collections.abc import Callable, Iterator
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from walkboard.capture.microphone import Microphone, microphones, portaudio
from walkboard.capture.source import Block, Meter
from walkboard.errors import InputError


class PortAudioError(Exception):
    pass


class StandIn:
    """PortAudio's binding with one microphone that the test plugs and feeds."""

    PortAudioError = PortAudioError

    def __init__(self) -> None:
        self.plugged = True
        self.default = SimpleNamespace(device=[0, 0])
        self.callback: Callable[..., None] | None = None
        self.opened: list[tuple[int, int]] = []

    def query_devices(self) -> list[dict[str, Any]]:
        devices = [
            {"name": "built in", "max_input_channels": 1, "default_samplerate": 44100.0},
            {"name": "speakers", "max_input_channels": 0, "default_samplerate": 48000.0},
            {"name": "usb pair", "max_input_channels": 2, "default_samplerate": 96000.0},
        ]
        return devices if self.plugged else []

    def InputStream(self, **how: Any) -> Any:  # noqa: N802 - PortAudio's own name
        if not self.plugged:
            raise PortAudioError("no such device")
        if how["samplerate"] > 192_000:
            raise PortAudioError("Invalid sample rate")
        self.opened.append((how["samplerate"], how["channels"]))
        self.callback = how["callback"]
        return SimpleNamespace(start=lambda: None, close=self._close)

    def _close(self) -> None:
        self.callback = None

    def is_open(self) -> bool:
        return self.callback is not None

    def unplug(self) -> None:
        self.plugged = False
        self.callback = None

    def hear(self, count: int = 882, overflow: bool = False) -> None:
        assert self.callback is not None
        status = SimpleNamespace(input_overflow=True) if overflow else None
        self.callback(np.full((count, 1), 0.25, np.float32), count, None, status)


@pytest.fixture
def system() -> StandIn:
    return StandIn()


def is_plugged(source: Microphone) -> bool:
    return source.is_plugged


def taken(source: Microphone, count: int) -> Iterator[Block]:
    blocks = source.blocks()
    for _ in range(count):
        yield next(blocks)


def test_the_microphones_are_listed_the_usual_one_first(system: StandIn) -> None:
    system.default.device = [2, 1]
    found = microphones(system)
    assert [d.name for d in found] == ["usb pair", "built in"]
    assert [d.is_default for d in found] == [True, False]
    assert found[0].sample_rate == 96000


def test_blocks_come_with_their_times(system: StandIn) -> None:
    source = Microphone(library=system)
    assert (source.name, source.sample_rate, source.channels) == ("built in", 44100, 1)
    for _ in range(3):
        system.hear()
    found = list(taken(source, 3))
    assert [b.start_s for b in found] == pytest.approx([0.0, 0.02, 0.04])
    assert [b.lost for b in found] == [0, 0, 0]
    assert found[0].samples.dtype == np.float32
    source.close()


def test_lost_blocks_are_counted_and_times_go_on(system: StandIn) -> None:
    source = Microphone(library=system)
    system.hear()
    system.hear(overflow=True)
    found = list(taken(source, 2))
    assert found[0].lost + found[1].lost == 882
    assert found[1].start_s + 0.02 == pytest.approx(0.06)
    meter = Meter()
    for block in found:
        meter.take(block, 44100)
    assert meter.lost == 882


def test_a_reader_that_sleeps_loses_blocks_but_never_stops_the_device(system: StandIn) -> None:
    source = Microphone(library=system)
    for _ in range(400):  # 8 s: more than the queue holds
        system.hear()
    first = next(source.blocks())
    assert first.lost == 250 * 882


def test_unplugging_is_survived(system: StandIn) -> None:
    now = [0.0]
    source = Microphone("usb pair", library=system, clock=lambda: now[0])
    system.hear(1920)
    blocks = source.blocks()
    assert next(blocks).start_s == 0.0
    system.unplug()
    found: list[Block] = []
    reader = threading.Thread(target=lambda: found.append(next(blocks)))
    reader.start()
    now[0] = 1.5
    for _ in range(100):
        if not is_plugged(source):
            break
        time.sleep(0.02)
    assert not is_plugged(source)
    system.plugged = True
    now[0] = 3.0
    for _ in range(100):
        if system.is_open():
            break
        time.sleep(0.02)
    system.hear(1920)
    reader.join(5.0)
    assert is_plugged(source)
    assert found[0].start_s == pytest.approx(3.0 - 0.02, abs=0.01)
    assert found[0].lost == pytest.approx(96_000 * (3.0 - 0.04), abs=2000)
    source.close()


def test_no_microphone_and_a_wrong_rate_are_reported(system: StandIn) -> None:
    with pytest.raises(InputError, match="cannot be opened at 384000 Hz"):
        Microphone(sample_rate=384_000, library=system)
    with pytest.raises(InputError, match="no microphone 'other'"):
        Microphone("other", library=system)
    system.plugged = False
    with pytest.raises(InputError, match="has no microphone"):
        Microphone(library=system)


def test_without_portaudio_the_error_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    class Missing:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "sounddevice":
                raise OSError("PortAudio library not found")  # what the binding does at import

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Missing(), *sys.meta_path])
    with pytest.raises(InputError, match="PortAudio is not installed") as caught:
        portaudio()
    assert "libportaudio2" in caught.value.fix


def test_portaudio_itself_answers_where_it_is_there() -> None:
    try:
        library = portaudio()
    except InputError as error:
        pytest.skip(f"no PortAudio here: {error}")
    assert isinstance(microphones(library), tuple)


def test_the_meter_says_what_to_do_about_the_gain() -> None:
    meter = Meter()
    meter.take(Block(np.full((480, 1), 0.001, np.float32), 0.0), 48_000)
    assert meter.peak_db == pytest.approx(-60.0, abs=0.1)
    assert "turn the gain up" in meter.words
    meter.take(Block(np.full((480, 1), 0.3, np.float32), 0.01), 48_000)
    assert meter.words == ""
    meter.take(Block(np.ones((480, 1), np.float32), 0.02), 48_000)
    assert meter.clipped == 478
    assert "turn the gain down" in meter.words
