"""What a stream contains, by its first bytes: the content decides, never the name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO, Literal

from walkboard.errors import SoundError

ALLOWED = "Give a WAV, FLAC, OGG, MP3, AIFF or M4A recording."
_UNKNOWN_LENGTHS = (0, 0xFFFF_FFFF)  # left by a writer that cannot go back to its header
_SOUND = (b"data", b"SSND")  # the chunk that holds the sound, of WAV and of AIFF
_MOST_CHUNKS = 1000  # chunks before the sound; recorders write fewer than twenty. Chosen.


@dataclass(frozen=True, slots=True)
class Container:
    """A kind of file and who can decode it.

    Attributes
    ----------
    words : str
        Its usual name.
    by_libsndfile : bool
    pyav_format : str or None
        The only demuxer that PyAV may use. Always given: left to guess, PyAV would also follow
        playlists to other files.
    suffixes : tuple of str
        File name endings that fit.
    """

    words: str
    by_libsndfile: bool
    pyav_format: str | None
    suffixes: tuple[str, ...]


_WAV = Container("WAV", True, "wav", ("wav", "wave", "bwf", "rf64"))
_W64 = Container("W64", True, "w64", ("w64",))
_AIFF = Container("AIFF", True, "aiff", ("aif", "aiff", "aifc"))
_FLAC = Container("FLAC", True, "flac", ("flac",))
_OGG = Container("OGG", True, "ogg", ("ogg", "oga", "opus", "spx"))
_CAF = Container("CAF", True, "caf", ("caf",))
_AU = Container("AU", True, "au", ("au", "snd"))
_MP3 = Container("MP3", True, "mp3", ("mp3", "mpga"))
_ADTS = Container("AAC", False, "aac", ("aac", "adts"))
_MP4 = Container("M4A", False, "mov", ("m4a", "mp4", "mov", "3gp", "m4v", "m4b", "3g2"))
_WEBM = Container("WebM", False, "matroska", ("webm", "mkv", "mka"))

_SUFFIXES = {
    suffix
    for kind in (_WAV, _W64, _AIFF, _FLAC, _OGG, _CAF, _AU, _MP3, _ADTS, _MP4, _WEBM)
    for suffix in kind.suffixes
}

_OTHERS = (
    (b"MThd", "a MIDI file, which holds keys and no sound"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive or an office document"),
    (b"\x1f\x8b", "a compressed archive"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"SQLite format 3", "a database"),
)


def recognise(stream: BinaryIO, name: str) -> Container:
    """The container that a stream holds.

    Parameters
    ----------
    stream : binary stream
        Seekable; left at its start.
    name : str
        Used in messages.

    Raises
    ------
    SoundError
        If it is empty or not a recording.
    """
    stream.seek(0)
    head = stream.read(4096)
    if not head:
        raise SoundError("The file is empty.", where=name, fix="Copy it again from the recorder.")
    found = _by_magic(head)
    if found is None:
        start = _after_tags(stream, head)
        stream.seek(start)
        found = _by_sync(stream.read(4096))
    stream.seek(0)
    if found in (_WAV, _AIFF):
        _refuse_endless_header(stream, name)
    if found is not None:
        return found
    raise SoundError(f"This is {_what_else(head)}.", where=name, fix=ALLOWED)


def odd_suffix(container: Container, name: str) -> str | None:
    """The ending of a name that promises a different kind of recording, or None."""
    suffix = name.rpartition(".")[2].lower() if "." in name else ""
    return suffix if suffix in _SUFFIXES and suffix not in container.suffixes else None


def share_present(stream: BinaryIO, container: Container) -> float | None:
    """How much of the sound that a WAV or AIFF header promises is really in the file.

    Decoders quietly believe the file's length, so a recording that was cut off looks whole.

    Returns
    -------
    float or None
        Below 1 if the file was cut off, above 1 if it continues beyond what the header promises;
        None if the header gives no length.
    """
    if container not in (_WAV, _AIFF):
        return None
    size = stream.seek(0, 2)
    long_bytes: int | None = None  # the 64-bit length of RF64 and BW64
    for chunk in _chunks(stream):
        if chunk.name == b"ds64":
            stream.seek(chunk.at + 8)
            long_bytes = int.from_bytes(stream.read(16)[8:], "little")
        if chunk.name in _SOUND:
            place, length = chunk.at, chunk.length
            break
    else:
        return None
    if length == 0xFFFF_FFFF and long_bytes:
        length = long_bytes
    if length in _UNKNOWN_LENGTHS:
        return None
    present = size - place - 8
    if present < length:
        return present / length
    stream.seek(place + 8 + length + length % 2)
    follows = stream.read(8)
    is_chunk = len(follows) < 8 or (follows[:4].isascii() and follows[:4].decode().isprintable())
    return 1.0 if is_chunk else present / length


@dataclass(frozen=True, slots=True)
class _Chunk:
    """One chunk of a RIFF or IFF file: its name, start, and claimed length."""

    name: bytes
    at: int
    length: int


def _chunks(stream: BinaryIO) -> Iterator[_Chunk]:
    """The chunks of a WAV or AIFF file by their claimed lengths; at most `_MOST_CHUNKS`."""
    stream.seek(0)
    order: Literal["big", "little"] = "big" if stream.read(4) in (b"FORM", b"RIFX") else "little"
    place = 12
    for _ in range(_MOST_CHUNKS):
        stream.seek(place)
        head = stream.read(8)
        if len(head) < 8:
            return
        chunk = _Chunk(head[:4], place, int.from_bytes(head[4:], order))
        yield chunk
        place += 8 + chunk.length + chunk.length % 2


def _refuse_endless_header(stream: BinaryIO, name: str) -> None:
    """SoundError for a header with no sound after it, which decoders would search to the end."""
    count = 0
    for chunk in _chunks(stream):
        count += 1
        if chunk.name in _SOUND:
            stream.seek(0)
            return
        if chunk.name == bytes(4):
            raise SoundError(
                "Only zeros follow the header: the recorder lost power too early.",
                where=name,
                fix="Look for another copy on the recorder.",
            )
    stream.seek(0)
    if count == _MOST_CHUNKS:
        raise SoundError(
            f"There is no sound in the first {_MOST_CHUNKS} parts of this file: it is damaged.",
            where=name,
            fix="Copy it again from the recorder.",
        )


def tells_length(stream: BinaryIO, container: Container) -> bool:
    """Whether the header says how long the sound is.

    An MP3 does so only in a Xing, Info or VBRI tag in its first frame. Without one libsndfile
    guesses and trusts its guess: it drops half of a recording that begins quietly.
    """
    if container is not _MP3:
        return True
    stream.seek(0)
    stream.seek(_after_tags(stream, stream.read(4096)))
    frame = stream.read(256)
    stream.seek(0)
    return any(tag in frame for tag in (b"Xing", b"Info", b"VBRI"))


def breaks_off(stream: BinaryIO, container: Container) -> bool:
    """Whether an OGG stream lacks its end mark (RFC 3533, section 6, header type bit 3)."""
    if container is not _OGG:
        return False
    size = stream.seek(0, 2)
    stream.seek(max(size - 65_536, 0))  # a page is at most 65 307 bytes
    tail = stream.read()
    stream.seek(0)
    page = tail.rfind(b"OggS")
    return page < 0 or len(tail) < page + 6 or not tail[page + 5] & 4


def _by_magic(head: bytes) -> Container | None:
    if head[:4] in (b"RIFF", b"RIFX", b"RF64", b"BW64") and head[8:12] == b"WAVE":
        return _WAV
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        return _AIFF
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide"):
        return _MP4
    magics = {b"fLaC": _FLAC, b"OggS": _OGG, b"caff": _CAF, b".snd": _AU, b"riff": _W64}
    return magics.get(head[:4], _WEBM if head[:4] == b"\x1aE\xdf\xa3" else None)


def _after_tags(stream: BinaryIO, head: bytes) -> int:
    """Where the sound begins after ID3 tags and the zero bytes that some writers add."""
    start = 0
    while head[:3] == b"ID3" and len(head) >= 10:
        size = 0
        for byte in head[6:10]:  # seven bits a byte (ID3v2.4.0, section 6.2)
            size = size << 7 | byte & 0x7F
        start += 10 + size
        stream.seek(start)
        head = stream.read(4096)
    return start + len(head) - len(head.lstrip(b"\0"))


def _by_sync(frame: bytes) -> Container | None:
    """MP3 (ISO/IEC 11172-3, 2.4.2.3) or AAC in ADTS (ISO/IEC 13818-7, 6.2) by its frame header."""
    if len(frame) < 8 or frame[0] != 0xFF:
        return None
    layer = frame[1] >> 1 & 3
    if frame[1] & 0xF0 == 0xF0 and layer == 0:
        length = (frame[3] & 3) << 11 | frame[4] << 3 | frame[5] >> 5
        return _ADTS if length > 7 and frame[2] >> 2 & 15 < 13 else None
    known_rate = frame[2] >> 4 not in (0, 15) and frame[2] >> 2 & 3 != 3
    is_mp3 = frame[1] & 0xE0 == 0xE0 and frame[1] >> 3 & 3 != 1 and layer == 1
    return _MP3 if is_mp3 and known_rate else None


def _what_else(head: bytes) -> str:
    for magic, words in _OTHERS:
        if head.startswith(magic):
            return words
    if not head.strip(b"\0"):
        return "a file of zeros, as a recorder leaves when it is switched off too early"
    try:
        text = head[: max(len(head) - 4, 1)].decode("utf-8")
    except UnicodeDecodeError:
        return "not a kind of recording that Walkboard can read"
    printable = sum(c.isprintable() or c.isspace() for c in text)
    return (
        "a text file"
        if printable >= 0.95 * len(text)
        else "not a kind of recording that Walkboard can read"
    )
