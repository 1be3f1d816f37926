"""Schedules as Standard MIDI Files: read back by mido, and byte by byte as the standard has it.

The layout is that of Standard MIDI Files 1.0 (MIDI Manufacturers Association, RP-001): chunks of a
four-letter name and a 32-bit big-endian length; a header of three 16-bit numbers; delta times as
variable-length quantities; the examples of such quantities are the standard's own table.
"""

import contextlib
import io
import struct

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from walkboard.errors import InputError
from walkboard.scales.keys import Key
from walkboard.survey.plan.schedule import Press, Schedule, midi_of, schedule_from_midi, schedule_of
from walkboard.survey.plan.walk_plan import Pace

C2_TO_E2 = [Key.parse("C2").up(n) for n in range(5)]


def quantity(data: bytes, at: int) -> tuple[int, int]:
    """A variable-length quantity: seven bits a byte, the top bit set in all but the last."""
    value = 0
    while True:
        byte = data[at]
        at += 1
        value = value << 7 | byte & 0x7F
        if not byte & 0x80:
            return value, at


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (0x00, "00"), (0x40, "40"), (0x7F, "7F"), (0x80, "8100"), (0x2000, "C000"),
        (0x3FFF, "FF7F"), (0x4000, "818000"), (0x1FFFFF, "FFFF7F"), (0x08000000, "C0808000"),
    ],
)  # fmt: skip
def test_the_hand_written_reader_reads_the_standards_own_examples(value, written):
    data = bytes.fromhex(written)
    assert quantity(data, 0) == (value, len(data))


def test_every_byte_is_as_the_standard_has_it():
    data = midi_of(schedule_of(C2_TO_E2, Pace(4.0, 0.3)), channel=3, name="Great")
    assert data[:4] == b"MThd"
    length, form, tracks, division = struct.unpack(">IHHH", data[4:14])
    assert (length, form, tracks, division) == (6, 0, 1, 500)
    assert data[14:18] == b"MTrk"
    (length,) = struct.unpack(">I", data[18:22])
    assert length == len(data) - 22
    at, ticks, notes, metas, status = 22, 0, [], [], 0
    while at < len(data):
        delta, at = quantity(data, at)
        ticks += delta
        if data[at] == 0xFF:
            kind = data[at + 1]
            size, at = quantity(data, at + 2)
            metas.append((kind, data[at : at + size]))
            at += size
            continue
        if data[at] & 0x80:  # else the status of the event before runs on
            status = data[at]
            at += 1
        notes.append((ticks, status, data[at], data[at + 1]))
        at += 2
    assert metas == [(0x03, b"Great"), (0x51, bytes([0x07, 0xA1, 0x20])), (0x2F, b"")]
    assert notes == [
        event
        for n in range(5)
        for event in (
            (3000 + 4300 * n, 0x92, 36 + n, 64),
            (7000 + 4300 * n, 0x82, 36 + n, 64),
        )
    ]


def test_mido_reads_it_back_to_the_millisecond():
    read = mido.MidiFile(file=io.BytesIO(midi_of(schedule_of(C2_TO_E2, Pace(4.0, 0.3)))))
    assert read.type == 0
    assert_allclose(read.length, 3.0 + 5 * 4.0 + 4 * 0.3, atol=1e-9)


@given(
    st.lists(
        st.tuples(st.integers(0, 127), st.integers(0, 10**6), st.integers(1, 10**5)),
        min_size=1,
        max_size=20,
        unique_by=lambda p: p[0],
    )
)
def test_any_schedule_comes_back_as_it_was_legato_too(given_presses):
    presses = [Press(Key(k), at / 1000, (at + long) / 1000) for k, at, long in given_presses]
    back = schedule_from_midi(midi_of(Schedule(tuple(presses))))
    presses.sort(key=lambda p: (p.down_s, p.key))
    assert [p.key for p in back.presses] == [p.key for p in presses]
    assert_allclose([p.down_s for p in back.presses], [p.down_s for p in presses], atol=1e-6)
    assert_allclose([p.up_s for p in back.presses], [p.up_s for p in presses], atol=1e-6)


def test_a_key_struck_again_at_once_goes_up_first():
    twice = Schedule((Press(Key(60), 1.0, 2.0), Press(Key(60), 2.0, 3.0)))
    assert schedule_from_midi(midi_of(twice)) == twice


def test_a_note_on_without_velocity_is_a_note_off_and_any_tempo_is_kept():
    track = mido.MidiTrack(
        [
            mido.MetaMessage("set_tempo", tempo=1_000_000, time=0),
            mido.Message("note_on", note=60, velocity=90, time=96),
            mido.Message("note_on", note=60, velocity=0, time=192),
        ]
    )
    written = io.BytesIO()
    mido.MidiFile(type=1, ticks_per_beat=96, tracks=[track]).save(file=written)
    assert schedule_from_midi(written.getvalue()).presses == (Press(Key(60), 1.0, 3.0),)


@pytest.mark.parametrize("channel", [0, 17])
def test_midi_has_sixteen_channels(channel):
    with pytest.raises(InputError, match=f"no channel {channel}"):
        midi_of(schedule_of(C2_TO_E2, Pace()), channel=channel)


@pytest.mark.parametrize(
    "data", [b"", b"RIFF....WAVE", b"MThd\0\0\0\6\0\0\0\1\1\xf4MTrk\0\0\0\5\0\x90"]
)
def test_what_is_no_midi_file_is_refused(data):
    with pytest.raises(InputError, match=r"x\.mid: This is not a Standard MIDI File|plays no key"):
        schedule_from_midi(data, where="x.mid")


@given(st.binary(max_size=60), st.integers(14, 90))
def test_damage_is_reported_in_words(junk, at):
    good = midi_of(schedule_of(C2_TO_E2, Pace()))
    with contextlib.suppress(InputError):  # anything else that is raised is a fault
        schedule_from_midi(good[:at] + junk + good[at + len(junk) :])
