"""Standard MIDI Files, made by mido (MIT licence) and read back as what they expose."""

from __future__ import annotations

import os
from pathlib import Path

import mido
import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import small_organ
from walkboard.errors import InputError, UnknownNameError
from walkboard.work.calendar.music import read_music

ORGAN = small_organ()


def a_file(path: Path, notes: list[tuple[int, int, float, float]], tempo: int = 500_000) -> Path:
    """Channel (from 1), key, begin and end in beats; 480 ticks a beat, so 500 000 µs are 0.5 s."""
    song = mido.MidiFile(type=1, ticks_per_beat=480)
    head = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=tempo, time=0)])
    events = [(begin, 1, c, k) for c, k, begin, _ in notes] + [
        (end, 0, c, k) for c, k, _, end in notes
    ]
    track = mido.MidiTrack()
    at = 0.0
    for beat, on, channel, key in sorted(events):
        kind = "note_on" if on else "note_off"
        track.append(
            mido.Message(
                kind, channel=channel - 1, note=key, velocity=64, time=round((beat - at) * 480)
            )
        )
        at = beat
    song.tracks.extend([head, track])
    song.save(path)
    return path


def test_a_scale_exposes_each_key_for_its_time(tmp_path):
    """Eight crotchets at 60 a minute: a second each (Standard MIDI Files 1.0: µs a crotchet)."""
    scale = [60, 62, 64, 65, 67, 69, 71, 72]
    path = a_file(
        tmp_path / "scale.mid",
        [(1, key, float(n), n + 1.0) for n, key in enumerate(scale)],
        tempo=1_000_000,
    )
    use = read_music(path, ORGAN, ["great.octave"])
    assert use.keys.keys() == {"great"}
    assert use.keys["great"].keys() == set(scale)
    assert_allclose(list(use.keys["great"].values()), 1.0, atol=1e-9)
    assert_allclose(use.seconds, 8.0)
    assert use.words == "scale.mid"


def test_a_chord_exposes_its_keys_less(tmp_path):
    path = a_file(tmp_path / "chord.mid", [(1, k, 0.0, 4.0) for k in (48, 60, 64, 67)])
    use = read_music(path, ORGAN, ["great.octave"])
    assert_allclose(list(use.keys["great"].values()), 2.0 / 2.0)  # 2 s over √4


def test_channels_are_played_where_it_is_said(tmp_path):
    path = a_file(tmp_path / "duo.mid", [(1, 60, 0.0, 2.0), (2, 72, 2.0, 4.0)])
    stops = ["great.octave", "swell.flute"]
    use = read_music(path, ORGAN, stops, {1: "swell", 2: "great"})
    assert use.keys == {"swell": {60: 1.0}, "great": {72: 1.0}}
    with pytest.raises(InputError, match="nobody says where channel 1, 2 is played"):
        read_music(path, ORGAN, stops)
    with pytest.raises(UnknownNameError, match="no division 'choir'"):
        read_music(path, ORGAN, stops, {1: "choir", 2: "great"})


def test_a_note_that_nobody_ends_sounds_to_the_end(tmp_path):
    song = mido.MidiFile(ticks_per_beat=480)
    song.tracks.append(
        mido.MidiTrack(
            [
                mido.Message("note_on", note=60, velocity=64, time=0),
                mido.Message("note_on", note=64, velocity=64, time=0),
                mido.Message("note_on", note=64, velocity=0, time=960),
            ]
        )
    )
    song.save(tmp_path / "held.mid")
    use = read_music(tmp_path / "held.mid", ORGAN, ["great.octave"])
    assert_allclose([use.keys["great"][k] for k in (60, 64)], 2**-0.5)


@pytest.mark.parametrize(
    "content", [b"", b"MThd", b"RIFF....", b"MThd\x00\x00\x00\x06\x00\x01\x00"]
)
def test_what_is_no_music_is_refused(tmp_path, content):
    path = tmp_path / "odd.mid"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"MIDI|music"):
        read_music(path, ORGAN, ["great.octave"])


def test_a_file_that_is_not_there_and_one_without_notes(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_music(tmp_path / "none.mid", ORGAN, ["great.octave"])
    with pytest.raises(InputError, match="has no note"):
        read_music(a_file(tmp_path / "rest.mid", []), ORGAN, ["great.octave"])
    with pytest.raises(InputError, match="No stop is drawn"):
        read_music(tmp_path / "none.mid", ORGAN, [])


@pytest.mark.parametrize("signature", [b"\x07\x05", b"\x7f\x00", b"\xf8\x01", b"\x00\x02"])
def test_an_odd_key_signature_does_not_spoil_good_music(tmp_path: Path, signature: bytes) -> None:
    path = a_file(tmp_path / "odd.mid", [(1, 60, 0.0, 4.0)])
    data = path.read_bytes()
    head = data.index(b"MTrk") + 8
    length = int.from_bytes(data[head - 4 : head], "big") + 6
    odd = b"\x00\xff\x59\x02" + signature
    path.write_bytes(data[: head - 4] + length.to_bytes(4, "big") + odd + data[head:])
    assert read_music(path, ORGAN, ["great.octave"]).keys["great"].keys() == {60}


def test_a_pipe_is_no_music(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "music.mid")
    with pytest.raises(InputError, match="it is not a file"):
        read_music(tmp_path / "music.mid", ORGAN, ["great.octave"])
