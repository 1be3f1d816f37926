"""Clips that loop: no click, no dip, and the pitch that went in."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.work.guide.recorded import tone
from walkboard.work.guide.clips import RATE_HZ, Clip, make_clip
from walkboard.work.guide.figures import KeySound, a_weight, compared, every_third, key_sound


def held(clip: Clip, seconds: float) -> NDArray[np.float64]:
    """What a player makes of it: the loop, again and again."""
    loop = clip.samples[clip.loop_start : clip.loop_end]
    turns = int(seconds * RATE_HZ / len(loop)) + 1
    return np.concatenate([clip.samples[: clip.loop_start], *[loop] * turns])


def hz_of(sound: NDArray[np.float64], near: float) -> float:
    """Frequency by the phase of one partial against time, a straight line through all of it."""
    time = np.arange(len(sound)) / RATE_HZ
    size = round(0.1 * RATE_HZ)
    turned = sound * np.exp(-2j * np.pi * near * time)
    phases = np.unwrap(
        [
            np.angle((turned[s : s + size] * np.hanning(size)).sum())
            for s in range(0, len(sound) - size, size // 2)
        ]
    )
    slope = np.polyfit(np.arange(len(phases)) * (size // 2) / RATE_HZ, phases, 1)[0]
    return near + float(slope) / (2.0 * np.pi)


@pytest.mark.parametrize("hz", [65.9, 131.3, 440.7, 1049.3, 2093.9])
def test_a_held_clip_keeps_its_pitch_level_and_smoothness(hz: float) -> None:
    clip = make_clip(tone(hz, 2.4, -20.0, -9.0), hz)
    assert clip is not None
    sound = held(clip, 8.0)[RATE_HZ // 2 :]
    assert abs(1200.0 * np.log2(hz_of(sound, hz) / hz)) < 0.05
    # Level: no piece of 50 ms dips or swells; steps: none beyond those of the tone itself.
    pieces = sound[: len(sound) // 2400 * 2400].reshape(-1, 2400)
    level = 20.0 * np.log10(np.sqrt((pieces**2).mean(axis=1)))
    assert level.max() - level.min() < (0.6 if hz > 100.0 else 1.2)
    assert np.abs(np.diff(sound)).max() < 1.05 * np.abs(np.diff(tone(hz, 2.0, -20.0, -9.0))).max()


def test_two_rows_that_beat_still_loop_smoothly() -> None:
    sound = tone(440.0, 3.0, -20.0, -9.0) + tone(441.3, 3.0, -22.0, -9.0)
    clip = make_clip(sound, 440.0)
    assert clip is not None
    looped = held(clip, 6.0)[RATE_HZ:]
    assert np.abs(np.diff(looped)).max() < 1.1 * np.abs(np.diff(sound)).max()


def test_the_loop_is_the_length_at_which_the_sound_repeats_best() -> None:
    """Two rows that beat 14 times a second: fifteen beats later both are where they were. A loop of
    the longest whole number of periods would meet the beat at another place."""
    near, far = 262.0, 276.0
    sound = tone(near, 2.4, -20.0, -9.0) + tone(far, 2.4, -20.0, -9.0)
    clip = make_clip(sound, near)
    assert clip is not None
    beats = (clip.loop_end - clip.loop_start) / RATE_HZ * (far - near)
    assert abs(beats - 15.0) < 0.06
    longest = int(1.1 * near) / near * (far - near)
    assert abs(longest - round(longest)) > 0.3


@pytest.mark.parametrize("seconds", [0.3, 0.9, 1.2])
def test_a_hold_that_is_too_short_gives_no_clip(seconds: float) -> None:
    assert make_clip(tone(440.0, seconds, -20.0, -9.0), 440.0) is None


def test_every_third_key_leaves_none_further_than_a_semitone_away() -> None:
    keys = list(range(36, 98))
    kept = every_third(keys)
    assert all(min(abs(k - other) for other in kept) <= 1 for k in keys)
    assert len(kept) <= len(keys) / 3 + 1
    assert every_third([40, 41, 50]) == [40, 50]


def test_a_weighting_is_the_standards_table() -> None:
    # IEC 61672-1:2013, table 3 (nominal frequencies at exact tenths of a decade), in dB.
    table = {31.62: -39.4, 100.0: -19.1, 316.2: -6.6, 1000.0: 0.0, 3162.3: 1.2, 10000.0: -2.5}
    found = 10.0 * np.log10(a_weight(np.array(list(table))))
    np.testing.assert_allclose(found, list(table.values()), atol=0.05)


def test_level_and_slope_are_those_that_were_made() -> None:
    """A 1 kHz sine of full scale is 0 dB; partials falling by 6 dB an octave have that slope."""
    sine = np.sin(2.0 * np.pi * 1000.0 * np.arange(RATE_HZ) / RATE_HZ)
    alone = key_sound(sine, 1000.0)
    assert alone is not None
    assert alone.level_db == pytest.approx(0.0, abs=0.05)
    assert alone.slope_db is None
    rich = key_sound(tone(330.0, 0.8, -20.0, -6.0), 330.0)
    assert rich is not None
    assert rich.slope_db == pytest.approx(-6.0, abs=0.1)


def test_stops_are_compared_only_over_keys_that_they_share() -> None:
    soft = {key: KeySound(-40.0 - key, -9.0) for key in range(48, 60)}
    loud = {key: KeySound(-30.0 - key, -3.0) for key in range(48, 60)}
    middle = {key: KeySound(-36.0 - key, -6.0) for key in range(54, 60)}
    found = compared({"soft": soft, "loud": loud, "middle": middle, "odd": {90: loud[48]}})
    assert found.keys() == {"soft", "loud", "middle"}
    assert found["middle"].louder_db == pytest.approx(0.0)
    assert found["loud"].louder_db == pytest.approx(5.5)  # 5 against one other, 6 against two
    assert found["loud"].brighter_db == pytest.approx(3.0)
