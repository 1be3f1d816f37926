"""The walk with the recorder's clock put right, where a known tone in the recording shows it."""

from __future__ import annotations

from dataclasses import replace

from walkboard.errors import InputError
from walkboard.listening.evidence.tone import hear_tone
from walkboard.listening.readings import Measured
from walkboard.listening.sound.recording import Sound
from walkboard.quantities import ratio_of_cents
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading
from walkboard.survey.recognise.verdict import UNMEASURED_CLOCK, Clock, Heard

_TONES_HZ = (100.0, 4_000.0)  # a lower one has too few turns, a higher one too many; chosen

_LONE_DB = 40.0  # under a sine, below which its other partials lie; chosen


def check_tone(tone_hz: float | None) -> None:
    """Refuse a tone that cannot show a clock.

    Raises
    ------
    InputError
        If it is out of range.
    """
    if tone_hz is not None and not _TONES_HZ[0] <= tone_hz <= _TONES_HZ[1]:
        raise InputError(
            f"A tone of {tone_hz:g} Hz does not show the recorder's clock.",
            fix=f"Record one between {_TONES_HZ[0]:g} and {_TONES_HZ[1]:g} Hz.",
        )


def by_clock(walk: HeardWalk, sound: Sound, tone_hz: float | None) -> HeardWalk:
    """The walk with its clock in the verdict, taken out of every value where it was measured.

    Parameters
    ----------
    walk : HeardWalk
    sound : Sound
    tone_hz : float or None
        The known tone; None without one.
    """
    if walk.heard is None:
        return walk
    if tone_hz is None:
        return replace(walk, heard=replace(walk.heard, clock=UNMEASURED_CLOCK))
    spans = [(hold.start_s, hold.end_s) for hold in walk.holds if not _is_lone_sine(hold)]
    tone = hear_tone(sound.blocks(), sound.info.sample_rate, tone_hz, spans)
    if tone is None:
        said = (
            f"The tone of {tone_hz:g} Hz is not heard on its own for three seconds, so the"
            " recorder's clock was not measured."
        )
        heard = replace(walk.heard, clock=UNMEASURED_CLOCK)
        return replace(walk, heard=heard, warnings=(*walk.warnings, said))
    # What was taken for a held key there is the tone.
    holds = tuple(
        hold
        for hold in walk.holds
        if min(hold.end_s, tone.end_s) - max(hold.start_s, tone.start_s)
        < 0.5 * (hold.end_s - hold.start_s)
    )
    clock = Clock(tone.sigma_cents, tone_hz, tone.cents)
    return _put_right(replace(walk, holds=holds), replace(walk.heard, clock=clock), tone.cents)


def _is_lone_sine(hold: Hold) -> bool:
    """Whether a hold has but one partial, as no pipe has."""
    for reading in hold.readings:
        levels = sorted((partial.level_db for partial in reading.partials), reverse=True)
        if len(levels) > 1 and levels[1] > levels[0] - _LONE_DB:
            return False
    return True


def _put_right(walk: HeardWalk, heard: Heard, off_cents: float) -> HeardWalk:
    if heard.shift_cents is not None:
        heard = replace(heard, shift_cents=heard.shift_cents - off_cents)
    ratio = ratio_of_cents(-off_cents)

    def right(reading: Reading) -> Reading:
        if not isinstance(reading, Measured):
            return reading
        return replace(reading, hz=reading.hz * ratio, cents=reading.cents - off_cents)

    holds = tuple(
        replace(hold, readings=tuple(right(reading) for reading in hold.readings))
        for hold in walk.holds
    )
    return replace(walk, holds=holds, heard=heard)
