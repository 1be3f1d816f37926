"""The beat of two near unisons from the envelopes of their partials, whatever their frequencies.

It works where the joint model fails: pipes that pull each other move to and fro in every beat.
"""

from __future__ import annotations

from dataclasses import dataclass

from walkboard.listening.hold.beats import beat_of_power
from walkboard.listening.joint.stages import Joint


@dataclass(frozen=True, slots=True)
class Limits:
    """When a beat is believed."""

    most_number: int = 8  # highest partial that is looked at; chosen
    alike: float = 0.1  # share of the beat by which a partial may miss its multiple [-]; chosen
    fastest_hz: float = 12.0  # of a partial's beat; chosen


LIMITS = Limits()


def beat_of_unisons(joint: Joint, pair: tuple[int, int]) -> float | None:
    """Beats a second at the fundamental: partial l beats l times as fast.

    When pipes pull, a partial's envelope may also swing at a lower multiple of the beat. So the
    lowest partial that beats clearly is believed only if another swings at a matching multiple;
    None if none does.
    """
    found: list[tuple[int, float]] = []
    for band in joint.bands.bands:
        numbers = {member.number for member in band.members if member.pipe in pair}
        if band.group.pipes != set(pair) or len(numbers) != 1:
            continue
        number = numbers.pop()
        if number > LIMITS.most_number:
            break
        power = (band.values.real**2 + band.values.imag**2).sum(axis=0)
        rate_hz = beat_of_power(power, band.nodes.seconds / power.shape[0], LIMITS.fastest_hz)
        if rate_hz is not None:
            found.append((number, rate_hz))
    for lowest, rate_hz in found:
        beat_hz = rate_hz / lowest
        for number, other_hz in found:
            multiple = round(other_hz / beat_hz)
            alike = abs(other_hz - multiple * beat_hz) < LIMITS.alike * beat_hz
            if number > lowest and 1 <= multiple <= number and alike:
                return beat_hz
    return None
