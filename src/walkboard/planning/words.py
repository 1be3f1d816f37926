"""Phrases for the tuner: why a pipe is on the list, and what its badness is made of."""

from __future__ import annotations

from walkboard.condition.kinds import Role
from walkboard.planning.pitch import DivisionPitch
from walkboard.planning.standing import Standing
from walkboard.quantities import CENTS_PER_NEPER

_LOUD, _SOFT = 1.3, 0.75  # of the level's factor
_OCTAVES = ((48, "bass"), (60, "tenor"), (72, "middle"), (84, "treble"))
_KINDS = {
    Role.REED: "reed",
    Role.MUTATION: "mutation",
    Role.MIXTURE: "row of a mixture",
    Role.CELESTE: "celeste",
}
_OTHER_AIR_CENTS = 0.5  # from here on, a reed's two figures are both given


def move(cents: float) -> str:
    """Which way to move a pipe that stands so far off."""
    return "flatter" if cents > 0.0 else "sharper"


def why(standing: Standing, reference_cents: float, pitch: DivisionPitch) -> str:
    """One phrase: how far off, against what, how loud, where on the keyboard.

    Parameters
    ----------
    standing : Standing
    reference_cents : float
        The reference that the organ is tuned to, above where it stands.
    pitch : DivisionPitch
        Of the pipe's division.
    """
    off = standing.cents - reference_cents
    today = standing.cents_from_flues - reference_cents
    against = "its partner" if standing.role is Role.CELESTE else "the flues"
    if standing.role is Role.REED and abs(off - today) >= _OTHER_AIR_CENTS:
        phrase = (
            f"{size(off)} of where the flues will stand at {pitch.event_celsius:.1f} °C, "
            f"{size(today)} of them today"
        )
    elif standing.role is Role.CELESTE:
        phrase = f"{size(off)} of its distance from {against}"
    else:
        phrase = f"{size(off)} of {against}"
    return ", ".join([phrase, *_loudness(standing), f"in the {register(standing)}"])


def size(cents: float) -> str:
    """Deviation in words: ``7 cents flat``, ``0.4 cent sharp``."""
    amount = abs(cents)
    shown = f"{amount:.0f}" if amount >= 2.95 else f"{amount:.1f}"
    unit = "cent" if amount <= 1.0 else "cents"
    return f"{shown} {unit} {'sharp' if cents > 0.0 else 'flat'}"


def register(standing: Standing) -> str:
    """Octave of the keyboard: bass, tenor, middle, treble, top."""
    key = standing.rank.key_of(standing.pipe.number).semitone
    return next((name for limit, name in _OCTAVES if key < limit), "top")


def explain(standing: Standing, reference_cents: float = 0.0) -> str:
    """One sentence that takes a pipe's badness apart, so that a tuner can disagree with it.

    Parameters
    ----------
    standing : Standing
    reference_cents : float
        The reference that the organ is tuned to, above where it stands.
    """
    off = standing.cents - reference_cents
    beats = abs(off) * standing.target_hz / CENTS_PER_NEPER
    weight = standing.weight
    key = standing.rank.key_of(standing.pipe.number)
    kind = _KINDS.get(standing.role) or (
        "open flue" if standing.rank.family.value == "open" else "stopped flue"
    )
    badness = standing.badness_at(reference_cents)
    return (
        f"{standing.pipe} ({standing.rank.name}, {key}) stands {size(off)}, which beats "
        f"{beats:.1f} times a second against a pipe in tune and is "
        f"{badness / weight.whole:.2f} of wholly out of tune; it counts {weight.whole:.2f} "
        f"(loudness {weight.level:.2f} × {register(standing)} {weight.register:.2f} × "
        f"{kind} {weight.kind:.2f}), so it costs {badness:.2f}, of which "
        f"{standing.minutes:g} min of tuning would take away {badness - standing.badness_left:.2f}."
    )


def _loudness(standing: Standing) -> list[str]:
    if standing.weight.level >= _LOUD:
        return ["loud"]
    return ["soft"] if standing.weight.level <= _SOFT else []
