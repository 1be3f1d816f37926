"""Simulated churches, by another model than the one that is fitted: walls of many layers.

Air and the organ's own loft are two nodes with draughts between them; heat passes to the walls by
natural convection (rising with the cube root of the difference), through eight layers of stone, to
weather that changes from day to day. The heater's power varies from day to day too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

_LAYERS = 8
_STEP_H = 1.0 / 30.0


@dataclass(frozen=True, eq=False)
class Winter:
    """A logged winter.

    Attributes
    ----------
    hours, organ_celsius, outdoors_celsius : ndarray
        Every ten minutes.
    switched_on_h : tuple of float
    events_h : tuple of float
        When the heating is switched off again.
    """

    hours: Numbers
    organ_celsius: Numbers
    outdoors_celsius: Numbers
    switched_on_h: tuple[float, ...]
    events_h: tuple[float, ...]


def a_winter(seed: int, *, heat_ups: int = 10) -> Winter:
    """A church, heated for one event every three days."""
    rng = np.random.default_rng(seed)
    volume = rng.uniform(800.0, 6000.0)  # m³
    walls = 6.0 * volume ** (2.0 / 3.0) * rng.uniform(0.7, 1.1)  # m² of stone
    air_wh = volume * 1.2 * 1006.0 / 3600.0 * rng.uniform(3.0, 6.0)  # with pews and people's things
    layer_wh = walls * 0.04 * 2000.0 * 900.0 / 3600.0
    between = walls * 1.6 / 0.04  # W/K from layer to layer
    draught = volume * rng.uniform(0.3, 0.9) * 1.2 * 1006.0 / 3600.0
    loft = rng.uniform(0.3, 0.8)  # how fast the loft follows the nave [1/h]
    power = walls * rng.uniform(18.0, 34.0)
    count = int((heat_ups * 72.0 + 24.0) / _STEP_H)
    time: Numbers = np.arange(count, dtype=np.float64) * _STEP_H
    daily = np.repeat(np.cumsum(rng.normal(0.0, 1.5, count // 720 + 2)) * 0.5, 720)[:count]
    outdoors = 4.0 + 0.6 * daily + 2.5 * np.cos(2.0 * np.pi * (time - 15.0) / 24.0)
    events = tuple(24.0 + 72.0 * n + rng.uniform(8.0, 12.0) for n in range(heat_ups))
    on = tuple(event - rng.uniform(5.0, 12.0) for event in events)
    strength = rng.normal(1.0, 0.04, heat_ups)
    nave, organ = 8.0, 8.0
    stone = np.linspace(8.0, 6.0, _LAYERS)
    logged = np.empty(count)
    for step in range(count):
        now = time[step]
        turn = min(int(max(now - 24.0 + 24.0, 0.0) // 72.0), heat_ups - 1)
        heat = power * strength[turn] if on[turn] <= now < events[turn] else 0.0
        gap = nave - stone[0]
        to_wall = walls * 1.8 * np.sign(gap) * np.abs(gap) ** (4.0 / 3.0)
        nave += _STEP_H / air_wh * (heat - to_wall - draught * (nave - outdoors[step]))
        flow = between * np.diff(stone)
        lost = 12.0 * walls * (stone[-1] - outdoors[step])
        stone = stone + _STEP_H / layer_wh * np.concatenate(
            [[to_wall + flow[0]], np.diff(flow), [-flow[-1] - lost]]
        )
        organ += _STEP_H * loft * (nave - organ)
        logged[step] = organ
    every = slice(None, None, 5)
    noise = rng.normal(0.0, 0.03, count)
    steps = np.round((logged + noise) * 10.0) / 10.0
    return Winter(time[every], steps[every], outdoors[every], on, events)
