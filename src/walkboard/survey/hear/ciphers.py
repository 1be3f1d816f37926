"""Which pipe a cipher is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.listening.evidence.drones import Drone
from walkboard.organ.model import Family, Organ
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.survey.recognise.verdict import Cipher


@dataclass(frozen=True, slots=True)
class Limits:
    """When a cipher is a pipe of the organ."""

    same_pitch_cents: float = 45.0  # between a cipher and its pipe; derived: < a quarter tone


LIMITS = Limits()


def cipher_of(
    organ: Organ,
    drawn: Sequence[str],
    air_celsius: float | None,
    shift_cents: float,
    drone: Drone,
) -> Cipher:
    """The pipe behind a drone: preferably of the walked stops, then of their division."""
    divisions = {stop.division for stop in organ.stops_among(drawn)}
    ranks = {plays.rank for s in organ.stops if s.id in drawn for plays in s.plays}
    hz = drone.hz / ratio_of_cents(shift_cents)
    odd_only = all(round(line / drone.hz) % 2 for line in drone.lines_hz)
    found = []
    for pipe in organ.pipes():
        away = abs(1200.0 * np.log2(hz / target_hz(organ, pipe, air_celsius)))
        if away > LIMITS.same_pitch_cents:
            continue
        rank = organ.rank(pipe.rank)
        stopped = rank.family in (Family.STOPPED, Family.CHIMNEY)
        found.append(
            (
                pipe.rank not in ranks,
                rank.division not in divisions,
                odd_only != stopped,
                away,
                pipe,
            )
        )
    found.sort(key=lambda item: item[:4])
    pipes = [str(item[4]) for item in found]
    return Cipher(
        pipes[0] if pipes else None, drone.hz, drone.start_s, drone.end_s, tuple(pipes[1:])
    )
