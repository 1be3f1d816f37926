"""Reads the messages of a Standard MIDI File, whatever is wrong with it."""

from __future__ import annotations

import io
import re
from typing import Any

from walkboard.errors import InputError

_KEY_SIGNATURE = re.compile(rb"\xff\x59\x02..", re.DOTALL)


def midi_messages(data: bytes, *, where: str) -> list[Any]:
    """The messages of all tracks in order, each with the seconds since the one before as `time`.

    Parameters
    ----------
    data : bytes
        Type 0 or 1; tempo changes are followed (the MIDI Association's Standard MIDI Files 1.0).
    where : str
        The file's name, for errors.

    Raises
    ------
    InputError
        If it is not such a file, or is damaged.
    """
    import mido  # noqa: PLC0415 - a desk names schedules long before it reads one
    from mido.midifiles.meta import KeySignatureError  # noqa: PLC0415 - likewise

    try:
        # A key signature does not affect the sound, and the library rejects odd ones: hide them.
        return list(mido.MidiFile(file=io.BytesIO(without_key_signatures(data))))
    except (
        OSError,
        ValueError,
        TypeError,
        KeyError,
        IndexError,
        EOFError,
        AttributeError,
        ArithmeticError,
        RecursionError,
        AssertionError,
        KeySignatureError,
    ) as error:  # fmt: skip - the library raises all of these
        raise InputError(
            f"This is not a Standard MIDI File, or it is damaged ({error}).",
            where=where,
            fix="Give a file of type 0 or 1.",
        ) from error


def without_key_signatures(data: bytes) -> bytes:
    """The same file with all key signatures set to C major (FF 59 02 sf mi in the standard).

    Parameters
    ----------
    data : bytes
        A Standard MIDI File.
    """
    return _KEY_SIGNATURE.sub(b"\xff\x59\x02\x00\x00", data)
