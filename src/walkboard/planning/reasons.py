"""Phrases for the tuner: why a pipe is on the list, and how its badness adds up."""

from __future__ import annotations

from walkboard.condition.kinds import Role
from walkboard.planning.pitch import DivisionPitch
from walkboard.planning.value.pipe_offset import PipeOffset, beats_a_second

_LOUD, _SOFT = 1.3, 0.75  # of the level's factor
_OCTAVES = ((48, "bass"), (60, "tenor"), (72, "middle"), (84, "treble"))
_OTHER_AIR_CENTS = 0.5  # from here on, both figures of a reed are given


def move(cents: float) -> str:
    """Which way to move a pipe that is so far off."""
    return "flatter" if cents > 0.0 else "sharper"


def why(
    offset: PipeOffset,
    reference_cents: float,
    pitch: DivisionPitch,
    *,
    warmer_celsius: float = 0.0,
) -> str:
    """One phrase: how far off, from what, how loud, where on the keyboard.

    Parameters
    ----------
    offset : PipeOffset
    reference_cents : float
        The reference the organ is tuned to, above its present pitch.
    pitch : DivisionPitch
        Pitch of the pipe's division.
    warmer_celsius : float
        How much warmer the air is expected to be when the pipe is reached [°C].
    """
    at = offset.reference_of(reference_cents)
    off = offset.cents - at
    today = offset.cents_from_flues - at
    against = "its partner" if offset.role is Role.CELESTE else "the flues"
    if offset.role is Role.REED and abs(off - today) >= _OTHER_AIR_CENTS:
        phrase = (
            f"{size(off)} of where the flues will be at {pitch.event_celsius:.1f} °C, "
            f"{size(today)} of them today"
        )
    elif offset.role is Role.CELESTE:
        as_it_is = " as that is" if offset.beside_partner else ""
        phrase = f"{size(off)} of its distance from {against}{as_it_is}"
    else:
        phrase = f"{size(off)} of {against}"
    if not offset.is_heard:
        phrase = f"not heard, probably {phrase}"
    words = [phrase, *_loudness(offset), f"in the {register(offset)}"]
    if warmer_celsius:
        air = pitch.air_celsius + warmer_celsius
        words.append(f"for air of {air:.1f} °C by then")
    if offset.pulled_by is not None:
        words.append(f"pulls with {offset.pulled_by}: silence that while you tune")
    if offset.risk.is_risky:
        words.append(offset.risk.why)
    return ", ".join(words)


def size(cents: float) -> str:
    """Deviation in words: ``7 cents flat``, ``0.4 cent sharp``."""
    amount = abs(cents)
    shown = f"{amount:.0f}" if amount >= 2.95 else f"{amount:.1f}"
    unit = "cent" if amount <= 1.0 else "cents"
    return f"{shown} {unit} {'sharp' if cents > 0.0 else 'flat'}"


def register(offset: PipeOffset) -> str:
    """Octave of the keyboard: bass, tenor, middle, treble, top."""
    key = offset.rank.key_of(offset.pipe.number).semitone
    return next((name for limit, name in _OCTAVES if key < limit), "top")


def explain(offset: PipeOffset, reference_cents: float = 0.0) -> str:
    """One sentence that breaks down a pipe's badness, so that a tuner can disagree with it.

    Parameters
    ----------
    offset : PipeOffset
    reference_cents : float
        The reference the organ is tuned to, above its present pitch.
    """
    off = offset.belief.mean_cents - offset.reference_of(reference_cents)
    beats = beats_a_second(offset, off)
    partial = offset.beat_hz / offset.target_hz
    weight = offset.weight
    badness = offset.badness_at(reference_cents)
    gain = badness - offset.badness_left
    share = offset.beating_at(reference_cents)
    chance = offset.chance_stray_at(reference_cents)
    sticks_out = f" and {weight.stray * chance:.2f} for sticking out" if chance >= 0.005 else ""
    work = f"of which {offset.minutes:g} min of tuning would take away {gain:.2f}"
    if gain <= 0.0:
        work = f"and {offset.minutes:g} min of tuning would not reduce that"
    if not offset.tunable:
        work = "and it is not to be touched"
    return (
        f"{offset.pipe} ({offset.rank.name}, {offset.rank.key_of(offset.pipe.number)}) "
        f"{'stands' if offset.is_heard else 'was not heard and probably stands'} {size(off)}"
        f"{_drawn(offset)}, "
        f"which beats {beats:.1f} times a second against its company, heard near its partial "
        f"{partial:.1f}, and is {share:.2f} of as rough as it can be; it counts {weight.whole:.2f} "
        f"({_factors(offset)}){sticks_out}, so it costs {badness:.2f}, {work}."
    )


def _drawn(offset: PipeOffset) -> str:
    if offset.pulled_by is None:
        return ""
    return f" where {offset.pulled_by} draws it ({size(offset.cents)} alone)"


def _factors(offset: PipeOffset) -> str:
    """``loudness 2.00 × company 0.84 × tenor 0.91``."""
    weight = offset.weight
    factors = [f"loudness {weight.level:.2f}", f"company {weight.company:.2f}"]
    if weight.use is None:
        factors.append(f"{register(offset)} {weight.register:.2f}")
        factors.append(f"drawn {weight.drawn:.2f}")
    else:
        factors.append(f"the event's use {weight.use:.2f}")
    if weight.kind != 1.0:
        factors.append(f"{offset.role.value} {weight.kind:.2f}")
    if weight.own != 1.0:
        factors.append(f"your own {weight.own:.2f}")
    return " × ".join(factors)


def _loudness(offset: PipeOffset) -> list[str]:
    if offset.weight.level >= _LOUD:
        return ["loud"]
    return ["soft"] if offset.weight.level <= _SOFT else []
