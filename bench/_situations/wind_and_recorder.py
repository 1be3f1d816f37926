"""Situations in which the wind or the recorder is at fault, not the walk."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bench._situations.player import SINGLES, Player, Scene, walk_keys
from bench._sounding import RATE_HZ, Tremulant


def tremulant(seed: int) -> Scene:
    """The tremulant is on."""
    p = Player(seed)
    trem = Tremulant(
        float(p.rng.uniform(3.0, 8.0)),
        float(np.exp(p.rng.uniform(0.0, np.log(15.0)))),
        float(p.rng.uniform(0.2, 1.5)),
    )
    p.wind = replace(p.wind, tremulant=trem)
    stop = str(p.rng.choice(SINGLES[:11]))
    return p.play(
        "tremulant",
        [stop],
        p.times(walk_keys(p, stop)[:24]),
        p.drawn_pipes([stop]),
        detail={"rate_hz": trem.rate_hz, "depth_cents": trem.depth_cents},
    )


def gaps(seed: int) -> Scene:
    """The recorder drops 5 to 20 ms here and there."""
    p = Player(seed)
    stop = str(p.rng.choice(SINGLES[:9]))
    scene = p.play(
        "recorder drops samples", [stop], p.times(p.keys(stop)[:25]), p.drawn_pipes([stop])
    )
    gone = np.zeros(len(scene.samples), bool)
    lost = []
    for hold in scene.holds:
        if p.rng.random() < 0.3:
            at = int(p.rng.uniform(hold.start_s + 1.0, hold.end_s - 0.3) * RATE_HZ)
            count = int(p.rng.uniform(0.005, 0.02) * RATE_HZ)
            gone[at : at + count] = True
            lost.append((at / RATE_HZ, count / RATE_HZ))
    scene.samples = scene.samples[~gone]
    scene.lost_s = tuple(lost)
    return scene


def carried(seed: int) -> Scene:
    """The phone is carried about: the direct sound's path changes by up to a metre a second."""
    p = Player(seed)
    stop = str(p.rng.choice(SINGLES[:9]))
    scene = p.play("phone carried about", [stop], p.times(p.keys(stop)[:25]), p.drawn_pipes([stop]))
    count = len(scene.samples)
    steps = p.rng.standard_normal(count // RATE_HZ + 2)
    speed = 0.7 * np.interp(np.arange(count) / RATE_HZ, np.arange(len(steps)), steps)
    delay = np.cumsum(speed) / RATE_HZ / 343.0 * RATE_HZ
    at = np.arange(count) + delay - delay.min()
    scene.samples = np.interp(at, np.arange(count), scene.samples).astype(np.float32)
    return scene


def shaking_wind(seed: int) -> Scene:
    """The wind shakes at 4 to 8 Hz by a cent."""
    p = Player(seed)
    p.wind = replace(p.wind, shake_cents=1.0, shake_hz=float(p.rng.uniform(4.0, 8.0)))
    stop = str(p.rng.choice(SINGLES[:9]))
    return p.play("wind shakes", [stop], p.times(p.keys(stop)[:25]), p.drawn_pipes([stop]))


def sagging_wind(seed: int) -> Scene:
    """The wind sags by about three cents in every hold."""
    p = Player(seed)
    p.wind = replace(p.wind, sag=0.075)
    stop = str(p.rng.choice(SINGLES[:6]))
    return p.play("wind sags", [stop], p.times(p.keys(stop)[:25]), p.drawn_pipes([stop]))
