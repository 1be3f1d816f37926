"""Pipes named in files, walks written for the machine, and walks played through a feigned port."""

import types

import pytest

from walkboard.errors import InputError, UnknownNameError
from walkboard.organ import examples
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.scales.keys import Key
from walkboard.survey.plan.make_survey import plan_survey
from walkboard.survey.plan.schedule import Press, Schedule
from walkboard.work import surveys

VILLAGE = read_organ(examples.village())
TWO_KEYS = Schedule((Press(Key(60), 1.0, 3.0), Press(Key(62), 2.5, 4.0)))


class Port:
    """A MIDI output that keeps what it is sent and when; time is moved by `sleep` alone."""

    def __init__(self, interrupt_at_s: float = float("inf")) -> None:
        self.sent: list[tuple[float, list[int]]] = []
        self.clock_s = 100.0
        self.interrupt_at_s = 100.0 + interrupt_at_s
        self.opened: int | None = None
        self.closed = False

    def MidiOut(self) -> "Port":  # noqa: N802 - the library's name
        return self

    def get_ports(self) -> list[str]:
        return ["Through port 0", "Console in", "Console out"]

    def open_port(self, number: int) -> None:
        self.opened = number

    def send_message(self, message: list[int]) -> None:
        self.sent.append((self.clock_s - 100.0, message))

    def close_port(self) -> None:
        self.closed = True

    def delete(self) -> None:
        pass

    def now(self) -> float:
        return self.clock_s

    def sleep(self, seconds: float) -> None:
        self.clock_s += seconds
        if self.clock_s > self.interrupt_at_s:
            raise KeyboardInterrupt


@pytest.fixture
def port(monkeypatch):
    def feign(**how):
        made = Port(**how)
        monkeypatch.setattr(surveys, "_rtmidi", lambda: made)
        return made

    return feign


def test_keys_are_sent_at_their_times_and_let_go(port):
    out = port()
    surveys.play_walk(TWO_KEYS, "console in", channel=2, now=out.now, sleep=out.sleep)
    assert out.opened == 1
    assert out.sent == [
        (1.0, [0x91, 60, 64]),
        (2.5, [0x91, 62, 64]),
        (3.0, [0x81, 60, 64]),
        (4.0, [0x81, 62, 64]),
        (4.0, [0xB1, 123, 0]),
    ]
    assert out.closed


def test_an_interrupt_lets_every_key_go(port):
    out = port(interrupt_at_s=2.7)
    with pytest.raises(KeyboardInterrupt):
        surveys.play_walk(TWO_KEYS, "Console in", now=out.now, sleep=out.sleep)
    ends = [message for _, message in out.sent[2:]]
    assert ends == [[0x80, 60, 64], [0x80, 62, 64], [0xB0, 123, 0]]
    assert out.closed


@pytest.mark.parametrize(
    ("name", "what"), [("organ", "no MIDI output"), ("console", "not the name")]
)
def test_a_port_must_be_one(port, name, what):
    out = port()
    with pytest.raises(UnknownNameError, match=f"{what}.*Console in"):
        surveys.play_walk(TWO_KEYS, name, now=out.now, sleep=out.sleep)
    assert out.sent == []


def test_without_the_library_or_without_midi_it_says_so(monkeypatch):
    def missing():
        raise ImportError

    monkeypatch.setattr(surveys, "_rtmidi", missing)
    with pytest.raises(InputError, match="Nothing is installed that sends MIDI"):
        surveys.midi_ports()

    def broken():
        raise RuntimeError("no sequencer")

    monkeypatch.setattr(surveys, "_rtmidi", lambda: types.SimpleNamespace(MidiOut=broken))
    with pytest.raises(InputError, match="no MIDI: no sequencer"):
        surveys.midi_ports()


def test_pipes_are_named_in_a_line_or_a_file(tmp_path):
    path = tmp_path / "pipes.txt"
    path.write_text("great.open8:5  # cracked\n\nswell.oboe8:1, great.open8:5\n", encoding="utf-8")
    assert surveys.pipes_named(VILLAGE, str(path)) == (
        PipeRef("great.open8", 5),
        PipeRef("swell.oboe8", 1),
    )
    assert len(surveys.pipes_named(VILLAGE, "great.open8,swell.oboe8:1")) == 55
    with pytest.raises(UnknownNameError, match="no pipe 99"):
        surveys.pipes_named(VILLAGE, "great.open8:99")
    with pytest.raises(UnknownNameError, match="no rank"):
        surveys.pipes_named(VILLAGE, "great.kazoo8")


def test_a_file_a_walk_holds_that_walks_keys(tmp_path):
    plan = plan_survey(VILLAGE)
    written = surveys.write_midi(plan, tmp_path / "walks")
    assert len(written) == len(plan.walks)
    for path, walk in zip(written, plan.walks, strict=True):
        schedule = surveys.load_schedule(path)
        assert tuple(press.key for press in schedule.presses) == walk.keys
        assert schedule.presses[0].up_s - schedule.presses[0].down_s == pytest.approx(4.0)


def test_a_file_that_is_not_there_is_reported(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        surveys.load_schedule(tmp_path / "none.mid")
