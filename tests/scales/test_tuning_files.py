"""Tuning files read back by others: mido, FluidSynth, and a reader of Scala's formats."""

from __future__ import annotations

import ctypes
from fractions import Fraction
from pathlib import Path

import mido
import numpy as np
import pytest
from numpy.testing import assert_allclose

from walkboard.errors import InputError
from walkboard.listening.readings import Measured
from walkboard.scales.tuning_files import (
    KeyTuning,
    bulk_dump,
    equal_hz,
    keyboard_map,
    scale_file,
)

RNG = np.random.default_rng(19)
# An organ as it stands: five octaves, sharp in the summer, every key off by a few cents.
KEYS = range(36, 97)
HZ = {
    key: 440.0 * 2.0 ** ((key - 69) / 12.0 + (11.0 + RNG.normal(0.0, 4.0)) / 1200.0) for key in KEYS
}
MEASURED = KeyTuning("Harbour Hall flues", HZ, 18.4, "2031-03-14, one microphone")
HALF_STEP_CENTS = 50.0 / 16384.0


def cents(a: float, b: float) -> float:
    return float(1200.0 * np.log2(a / b))


def dumped_hz(message: bytes) -> dict[int, float]:
    """By the layout of MIDI 1.0's bulk tuning dump, from what mido takes it for."""
    stream = mido.Parser()
    stream.feed(message)
    (read,) = list(stream)
    assert read.type == "sysex"
    data = read.data
    assert data[:4] == (0x7E, 0x7F, 0x08, 0x01)
    assert len(data) == 5 + 16 + 3 * 128 + 1
    assert np.bitwise_xor.reduce(np.array(data)) == 0, "checksum"
    found = {}
    for key in range(128):
        semitone, high, low = data[21 + 3 * key : 24 + 3 * key]
        found[key] = 440.0 * 2.0 ** ((semitone - 69 + (high * 128 + low) / 16384.0) / 12.0)
    return found


def read_scala(scl: str, kbm: str) -> dict[int, float]:
    """Frequencies of the mapped keys, by the description of the two formats (linear maps too).

    Scale: comments begin with "!"; then a description, the number of notes, and a note a line,
    cents where there is a point, else a ratio. Map: size, first and last key, middle key, reference
    key, its frequency, the formal octave's degree, and the degrees.
    """

    def lines(text: str) -> list[str]:
        return [line for line in text.splitlines() if not line.startswith("!")]

    _, count, *notes = lines(scl)
    degrees = [0.0]
    for note in notes[: int(count)]:
        word = note.split()[0]
        if "." in word:
            degrees.append(float(word))
        else:
            degrees.append(1200.0 * float(np.log2(float(Fraction(word)))))
    assert len(degrees) == int(count) + 1
    size, first, last, middle, reference = (int(line.split()[0]) for line in lines(kbm)[:5])
    frequency, octave = float(lines(kbm)[5]), int(lines(kbm)[6])
    mapping = [int(line) for line in lines(kbm)[7 : 7 + size]]

    def cents_of(key: int) -> float:
        turns, place = divmod(key - middle, size)
        return turns * degrees[octave] + degrees[mapping[place]]

    return {
        key: frequency * 2.0 ** ((cents_of(key) - cents_of(reference)) / 1200.0)
        for key in range(first, last + 1)
    }


def test_mido_reads_every_key_back_within_half_a_step() -> None:
    found = dumped_hz(bulk_dump(MEASURED, program=5))
    for key in KEYS:
        assert abs(cents(found[key], HZ[key])) <= HALF_STEP_CENTS * 1.001


def test_equal_temperament_is_the_specifications_own_example() -> None:
    # MIDI 1.0 Detailed Specification, MIDI Tuning, examples: 3C 00 00 = middle C, 45 00 00 = A 440.
    message = bulk_dump(KeyTuning("equal", {k: equal_hz(k) for k in range(127)}, 20.0))
    assert message[22 + 3 * 60 : 25 + 3 * 60] == b"\x3c\x00\x00"
    assert message[22 + 3 * 69 : 25 + 3 * 69] == b"\x45\x00\x00"
    assert len(message) == 408
    assert message[6:22] == b"equal".ljust(16)


def test_a_key_is_never_written_as_left_alone() -> None:
    """7F 7F 7F is reserved."""
    message = bulk_dump(KeyTuning("top", {127: equal_hz(127) * 1.2}, 20.0))
    assert message[-5:-2] == b"\x7f\x7f\x7e"


def test_keys_beyond_the_compass_take_their_own_notes_deviation() -> None:
    found = dumped_hz(bulk_dump(MEASURED))
    for key in (24, 25, 108):
        near = min((k for k in KEYS if (k - key) % 12 == 0), key=lambda k: abs(k - key))
        expected = HZ[near] * 2.0 ** ((key - near) / 12.0)
        assert abs(cents(found[key], expected)) < 2.0 * HALF_STEP_CENTS


def test_scale_and_map_give_every_key_its_frequency() -> None:
    found = read_scala(scale_file(MEASURED), keyboard_map(MEASURED))
    assert found.keys() == HZ.keys()
    assert_allclose([cents(found[k], HZ[k]) for k in KEYS], 0.0, atol=1e-4)


def test_a_reed_of_tenor_compass_without_a_above_middle_c() -> None:
    part = {key: hz for key, hz in HZ.items() if 48 <= key <= 84 and key not in {69, 70}}
    tuning = KeyTuning("reeds", part, 18.4)
    assert tuning.not_measured == (69, 70)
    scl = scale_file(tuning)
    found = read_scala(scl, keyboard_map(tuning))
    assert "MIDI keys 69 70" in scl
    assert_allclose([cents(found[k], part[k]) for k in part], 0.0, atol=1e-4)


def test_the_files_say_the_air_and_are_plain_letters() -> None:
    named = KeyTuning("Grün 8′\n! 12", HZ, 18.44, "Orgel – Ä")
    for text in (scale_file(named), keyboard_map(named)):
        assert "18.4 degrees C" in text
        text.encode("latin-1")
    assert next(line for line in scale_file(named).splitlines() if line[0] != "!") == (
        "Grün 8' ! 12, key by key, at 18.4 degrees C"
    )


@pytest.mark.parametrize("hz", [{}, {60: -1.0}, {128: 440.0}, {60: float("nan")}])
def test_what_cannot_sound_is_refused(hz: dict[int, float]) -> None:
    with pytest.raises(InputError):
        KeyTuning("x", hz, 20.0)


SOUNDFONT = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")
RATE = 48_000


def fluid_library() -> ctypes.CDLL:
    fluidsynth = pytest.importorskip("fluidsynth", reason="FluidSynth's library is not installed")
    if not SOUNDFONT.exists():
        pytest.skip(f"the soundfont {SOUNDFONT} (Debian: timgm6mb-soundfont) is not installed")
    return fluidsynth  # type: ignore[no-any-return]


def test_fluidsynth_gives_the_same_dump_of_the_same_tuning() -> None:
    """Its own answer to a bulk tuning dump request: an independent writer of the format."""
    fluidsynth = fluid_library()
    synth = fluidsynth.Synth(samplerate=float(RATE))
    try:
        whole = {k: equal_hz(k) * 2.0 ** (((k * 7) % 23 - 11) / 1200.0) for k in range(127)}
        tuning = KeyTuning("walked", whole, 20.0)
        pitches = (ctypes.c_double * 128)(*[100.0 * k + tuning.cents(k) for k in range(128)])
        fluidsynth.fluid_synth_activate_key_tuning(synth.synth, 0, 3, b"walked", pitches, 1)
        asked = bytes([0x7E, 0x7F, 0x08, 0x00, 0x03])
        answer, length = ctypes.create_string_buffer(512), ctypes.c_int(512)
        handled = ctypes.c_int(0)
        ask = ctypes.CDLL("libfluidsynth.so.3").fluid_synth_sysex
        ask.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p]
        ask.argtypes += [ctypes.POINTER(ctypes.c_int), ctypes.POINTER(ctypes.c_int), ctypes.c_int]
        ask(synth.synth, asked, len(asked), answer, length, handled, 0)
    finally:
        synth.delete()
    assert handled.value == 1
    theirs = answer.raw[: length.value]
    ours = bulk_dump(tuning, program=3)[1:-1]
    assert theirs[0:1] + theirs[2:5] == ours[0:1] + ours[2:5]  # but the device: its own, or any
    assert len(theirs) == len(ours)
    # Its checksum covers the five first bytes alone, whatever the keys are: not compared.
    for key in range(128):  # each rounds as it likes: at most one step of 0.006 cent apart
        (a, b, c), (d, e, f) = (data[21 + 3 * key : 24 + 3 * key] for data in (theirs, ours))
        assert abs((a * 128 + b) * 128 + c - (d * 128 + e) * 128 - f) <= 1, key


def test_fluidsynth_tuned_with_the_dump_plays_within_a_twentieth_of_a_cent() -> None:
    """Whole cents by its tuning table, which it rounds to; the rest by the sample rate."""
    from walkboard.listening.measure import measure_hold
    from walkboard.listening.types import Comb

    fluidsynth = fluid_library()

    def played(key: int, pitch_cents: float) -> float:
        whole = np.floor(pitch_cents)
        synth = fluidsynth.Synth(
            gain=0.5, samplerate=RATE * 2.0 ** (-(pitch_cents - whole) / 1200.0)
        )
        try:
            synth.setting("synth.reverb.active", 0)
            synth.setting("synth.chorus.active", 0)
            synth.program_select(0, synth.sfload(str(SOUNDFONT)), 0, 20)
            table = (ctypes.c_double * 128)(*[100.0 * k for k in range(128)])
            table[key] = whole
            fluidsynth.fluid_synth_activate_key_tuning(synth.synth, 0, 0, b"dump", table, 1)
            fluidsynth.fluid_synth_activate_tuning(synth.synth, 0, 0, 0, 1)
            synth.noteon(0, key, 100)
            sound = np.asarray(synth.get_samples(2 * RATE), dtype=float).reshape(-1, 2) / 32768.0
        finally:
            synth.delete()
        (reading,) = measure_hold(sound, RATE, [Comb("", equal_hz(key))])
        assert isinstance(reading, Measured)
        return reading.hz

    found = dumped_hz(bulk_dump(MEASURED))
    for key in (48, 61, 77):
        asked_cents = 6900.0 + cents(found[key], 440.0)
        moved = cents(played(key, asked_cents), played(key, 100.0 * key))
        assert abs(moved - cents(HZ[key], equal_hz(key))) < 0.05
