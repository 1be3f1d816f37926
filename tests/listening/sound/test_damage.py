"""What a recording looks like after a full card, a flat battery, a bad copy or a wrong name."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from tests.listening.recordings import ONSETS_S, RATE_HZ, bursts, onsets_s, phoned, written
from walkboard.errors import SoundError
from walkboard.listening.sound.recording import Sound, open_sound


def opened(data: bytes, name: str = "walk.wav") -> Sound:
    return open_sound(io.BytesIO(data), name)


def whole(sound: Sound) -> np.ndarray:
    return np.concatenate(list(sound.blocks()))


def data_length_at(data: bytes) -> int:
    """Place of the data chunk's length in a WAV (RIFF: id, 32-bit little-endian length, data)."""
    return data.index(b"data") + 4


def relabelled(data: bytes, length: int) -> bytes:
    place = data_length_at(data)
    return data[:place] + struct.pack("<I", length) + data[place + 4 :]


def test_an_empty_file_is_refused() -> None:
    with pytest.raises(SoundError, match=r"walk\.wav: The file is empty\. Copy it again"):
        opened(b"")


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"Great: Principal 8, Octave 4.\nSwell: Reed 8.\n", "a text file"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" + bytes(99), "a PDF document"),
        (b"MThd\0\0\0\x06\0\0\0\x01\x01\xe0", "a MIDI file, which holds keys and no sound"),
        (b"PK\x03\x04" + bytes(99), "a ZIP archive"),
        (b"\x89PNG\r\n\x1a\n" + bytes(99), "a picture"),
        (bytes(9_999), "a file of zeros"),
        (np.random.default_rng(3).bytes(9_999), "not a kind of recording that Walkboard can read"),
    ],
)
def test_what_is_no_recording_is_named(data: bytes, match: str) -> None:
    with pytest.raises(SoundError, match=match) as raised:
        opened(data, "walk.wav")
    assert raised.value.where == "walk.wav"
    assert raised.value.fix == "Give a WAV, FLAC, OGG, MP3, AIFF or M4A recording."


@pytest.mark.parametrize("frames", [0, 1, 1_000])
def test_a_recording_with_hardly_any_sound(frames: int) -> None:
    """A whole file may be short; only its silence or emptiness is an error."""
    data = written(bursts()[24_000 : 24_000 + frames])
    if frames == 0:
        with pytest.raises(SoundError, match="only a header"):
            opened(data)
    else:
        assert whole(opened(data)).shape == (frames, 1)


def test_the_content_decides_and_the_wrong_name_is_reported() -> None:
    sound = opened(written(bursts(), "walk.flac"), "walk.MP3")
    assert sound.info.format == "FLAC, 24 bit"
    assert sound.inspect().warnings == ("Named .mp3, but it contains FLAC; read as that.",)


def test_a_name_without_a_known_ending_promises_nothing() -> None:
    for name in ("walk", "great.principal8", "walk.backup"):
        assert opened(written(bursts()), name).inspect().warnings == ()


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("walk.wav", 0.5),
        ("float.wav", 0.5),
        ("long.wav", 0.5),
        ("walk.aiff", 0.5),
        ("walk.flac", 0.5),
        ("walk.mp3", 0.5),
    ],
)
def test_a_cut_off_recording_gives_what_there_is_and_says_so(name: str, kept: float) -> None:
    data = written(bursts(), name)
    sound = opened(data[: int(kept * len(data))], name)
    (warning,) = sound.inspect().warnings
    assert "but its header promises 3.0 s" in warning
    assert 1.0 < sound.info.seconds < 2.0
    assert sound.info.seconds == sound.inspect().seconds
    samples = whole(sound)
    assert len(samples) == round(sound.info.seconds * RATE_HZ)
    assert_allclose(np.abs(samples[24_000:26_000]).max(), 0.4, rtol=0.05)


@pytest.mark.parametrize("name", ["walk.ogg", "walk.opus"])
def test_a_cut_off_ogg_lacks_the_mark_of_its_end(name: str) -> None:
    data = written(bursts(6.0), name)
    (warning,) = opened(data[: int(0.7 * len(data))], name).inspect().warnings
    assert "breaks off" in warning


@pytest.mark.parametrize("name", ["walk.wav", "walk.flac", "walk.ogg", "walk.mp3", "walk.aiff"])
def test_a_recording_cut_off_in_its_header_is_refused(name: str) -> None:
    with pytest.raises(SoundError, match="damaged"):
        opened(written(bursts(), name)[:60], name).inspect()


def test_a_phones_recording_cut_off_before_its_index_cannot_be_read(tmp_path: Path) -> None:
    data = phoned(bursts(), tmp_path)
    with pytest.raises(SoundError, match="cut off before its index was written"):
        opened(data[: len(data) // 2], "memo.m4a")


def test_a_phones_recording_cut_off_after_its_index_gives_what_there_is(tmp_path: Path) -> None:
    data = phoned(bursts(), tmp_path, index_first=True)
    sound = opened(data[: int(0.6 * len(data))], "memo.m4a")
    (warning,) = sound.inspect().warnings
    assert "but its header promises 3.0 s" in warning
    assert 1.2 < sound.info.seconds < 2.2


@pytest.mark.parametrize("name", ["walk.flac", "memo.m4a"])
def test_after_a_damaged_place_times_are_right_again(tmp_path: Path, name: str) -> None:
    if name == "memo.m4a":
        data = phoned(bursts(), tmp_path, index_first=True)
    else:
        data = written(bursts(), name)
    middle = len(data) // 2  # between the second and the third burst
    sound = opened(data[:middle] + bytes(3_000) + data[middle + 3_000 :], name)
    (warning,) = sound.inspect().warnings
    assert warning.startswith("Damaged in 1 place")
    assert_allclose(sound.info.seconds, 3.0, atol=0.001)
    assert_allclose(onsets_s(whole(sound), RATE_HZ)[2], ONSETS_S[2], atol=0.005)


@pytest.mark.parametrize("length", [0, 0xFFFFFFFF])
def test_a_recorder_that_never_wrote_the_length_loses_nothing(length: int) -> None:
    data = written(bursts())
    sound = opened(relabelled(data, length))
    assert_array_equal(whole(sound), whole(opened(data)))
    assert_allclose(sound.info.seconds, 3.0)
    assert sound.inspect().warnings == ()


def test_a_header_that_promises_too_much() -> None:
    data = written(bursts())
    sound = opened(relabelled(data, 10 * 3 * RATE_HZ * 2))
    (warning,) = sound.inspect().warnings
    assert "ends at 3.0 s, but its header promises 30.0 s" in warning
    assert len(whole(sound)) == 3 * RATE_HZ


def test_a_header_that_promises_too_little() -> None:
    sound = opened(relabelled(written(bursts()), RATE_HZ * 2))
    assert "continues after the end" in " ".join(sound.inspect().warnings)


def test_a_flac_that_promises_too_little_is_read_to_its_end() -> None:
    # STREAMINFO (RFC 9639, section 8.2): 36 bits of total samples end at byte 26 of the file.
    data = bytearray(written(bursts(), "walk.flac"))
    field = int.from_bytes(data[18:26], "big")
    data[18:26] = (field >> 36 << 36 | RATE_HZ).to_bytes(8, "big")
    sound = opened(bytes(data), "walk.flac")
    (warning,) = sound.inspect().warnings
    assert warning == "The header promises 1.0 s, but 3.0 s were found and read."
    assert len(whole(sound)) == 3 * RATE_HZ


def test_a_film_without_sound_is_refused(tmp_path: Path) -> None:
    import av

    place = tmp_path / "film.mp4"
    with av.open(str(place), "w") as film:
        stream = film.add_stream("mpeg4", rate=24)
        stream.width = stream.height = 32
        frame = av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8), format="rgb24")
        film.mux(stream.encode(frame))
        film.mux(stream.encode(None))
    with pytest.raises(SoundError, match="no sound in this M4A file"):
        opened(place.read_bytes(), "film.mp4")


def test_a_play_list_is_not_followed_to_other_files(tmp_path: Path) -> None:
    """A text that names another file must not make the decoder open it."""
    (tmp_path / "other.wav").write_bytes(written(bursts()))
    listed = f"#EXTM3U\n#EXT-X-TARGETDURATION:3\n#EXTINF:3,\n{tmp_path / 'other.wav'}\n"
    with pytest.raises(SoundError, match="a text file"):
        opened(listed.encode(), "walk.m3u8")


def outcome(data: bytes, name: str) -> str:
    """Read a whole recording: its samples are numbers and its length is true, or it is refused."""
    try:
        sound = opened(data, name)
        samples = whole(sound)
    except SoundError as refused:
        return f"refused {refused.where}" if refused.fix else "refused without a fix"
    assert np.isfinite(samples).all()
    assert_allclose(sound.info.seconds * sound.info.sample_rate, len(samples), atol=0.5)
    return "read"


@pytest.mark.parametrize("name", ["walk.wav", "walk.flac", "walk.ogg", "walk.mp3", "memo.m4a"])
def test_any_damage_is_read_through_or_refused_in_words(tmp_path: Path, name: str) -> None:
    made = bursts(1.0)
    data = phoned(made, tmp_path, index_first=True) if name == "memo.m4a" else written(made, name)
    rng = np.random.default_rng(11)
    outcomes = set()
    for _ in range(25):
        damaged = bytearray(data)
        place = int(rng.integers(len(damaged)))
        match int(rng.integers(4)):
            case 0:
                del damaged[place:]
            case 1:
                del damaged[place : place + int(rng.integers(1, 2_000))]
            case 2:
                damaged[place:place] = rng.bytes(int(rng.integers(1, 2_000)))
            case _:
                damaged[place % 200] = int(rng.integers(256))
        outcomes.add(outcome(bytes(damaged), name))
    assert outcomes == {"read", f"refused {name}"}


@pytest.mark.parametrize("rate_hz", [4_000, 384_000])
def test_sample_rates_beyond_use_are_refused(rate_hz: int) -> None:
    with pytest.raises(SoundError, match=f"sample rate is {rate_hz} Hz"):
        opened(written(bursts(1.0)[:rate_hz], rate_hz=rate_hz))


def _wav(*chunks: bytes) -> bytes:
    return b"RIFF" + (0x7FFF_FFF0).to_bytes(4, "little") + b"WAVE" + b"".join(chunks)


_FMT = b"fmt " + struct.pack("<IHHIIHH", 16, 1, 1, 48_000, 96_000, 2, 16)


class _Counting(io.BytesIO):
    reads = 0

    def read(self, size: int | None = -1) -> bytes:
        self.reads += 1
        return super().read(size)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (_wav(_FMT, bytes(20_000_000)), "Only zeros follow the header"),
        (_wav(bytes(20_000_000)), "Only zeros follow the header"),
        (b"FORM" + bytes(4) + b"AIFF" + bytes(20_000_000), "Only zeros follow the header"),
        (_wav(_FMT, b"junk\x00\x00\x00\x00" * 1_000_000), "in the first 1000 parts"),
        (_wav(b"junk\x00\x00\x00\x00" * 1_000_000), "in the first 1000 parts"),
    ],
    ids=["zeros", "zeros without fmt", "AIFF", "empty chunks", "empty chunks without fmt"],
)
def test_a_header_that_no_sound_follows_is_refused_at_once(data: bytes, said: str) -> None:
    """Seen red: 139 s of CPU for 600 MB of zeros, eight bytes at a time."""
    stream = _Counting(data)
    with pytest.raises(SoundError, match=said):
        open_sound(stream, "walk.wav")
    assert stream.reads < 5_000
