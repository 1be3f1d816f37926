"""Handled pipes as readings, without sound: how they warm, cool and wander, and who moves them.

Three ways to cool: `law` (one exponential), `apart` (the air five times as fast as the wall) and
`spread` (a quarter twice as slow, a sixth eight times as fast, as where heat also creeps along the
pipe). A hand warms each part at its own pace. Readings come five times a second, as the tracker
gives them: short and unsure after a move, then longer.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from walkboard.listening.live.company import Company
from walkboard.listening.live.readings import LiveFlag, LiveReading

STEP_S = 0.2
LONGEST_S = 1.2
#: Share of the warmth and time constant over the pipe's own, part by part.
LAWS = {
    "law": ((1.0, 1.0),),
    "apart": ((0.82, 1.0), (0.18, 0.2)),
    "spread": ((0.58, 1.0), (0.25, 2.0), (0.17, 0.12)),
}
_ALONE = Company(is_alone=True, asked=6)


@dataclass
class Cooling:
    """One pipe. `heat_cents` is what a hand that stays would make of it."""

    rng: np.random.Generator
    law: str
    tau_s: float
    heat_cents: float
    rest_cents: float
    heats_s: float = 5.0
    wander_cents: float = 0.06
    is_on: bool = False
    now_s: float = 0.0
    moved_s: float = 0.0
    _warm: np.ndarray = field(init=False)
    _shown: list[tuple[float, float]] = field(default_factory=list, init=False)

    def __post_init__(self) -> None:
        self._parts = np.array(LAWS[self.law])
        self._warm = np.zeros(len(self._parts))
        rng = self.rng
        size = self.wander_cents * np.sqrt(2.0 / 3.0) * rng.uniform(0.5, 1.5, 3)
        self._wander = list(
            zip(rng.uniform(0.15, 0.9, 3), rng.uniform(0, 6.28, 3), size, strict=True)
        )

    def warm_by(self, cents: float) -> None:
        """It has been warmed so far already."""
        self._warm = cents * self._parts[:, 0]

    @property
    def warm_cents(self) -> float:
        return float(self._warm.sum())

    def move(self, cents: float) -> None:
        self.rest_cents += cents
        self.moved_s = self.now_s

    def step(self) -> None:
        """A fifth of a second, in tenths of it."""
        for _ in range(4):
            dt = STEP_S / 4
            self.now_s += dt
            if self.is_on:
                goal = self.heat_cents * self._parts[:, 0]
                pace = self.heats_s * np.minimum(1.0, 2.0 * self._parts[:, 1])
                self._warm += (1.0 - np.exp(-dt / pace)) * (goal - self._warm)
            else:
                self._warm *= np.exp(-dt / (self.tau_s * self._parts[:, 1]))
            wander = sum(a * np.sin(6.28 * hz * self.now_s + p) for hz, p, a in self._wander)
            self._shown.append((self.now_s, self.rest_cents + self.warm_cents + wander))
        del self._shown[:-40]

    def reading(self, target_hz: float, *, began_s: float) -> LiveReading | None:
        """As the tracker gives it; None while the key is just down."""
        since_s = self.now_s - max(began_s, self.moved_s)
        if since_s < 0.2:
            return (
                None if self.now_s - began_s < 0.2 else self._made(target_hz, 0.2, 0.3, moving=True)
            )
        if since_s < 0.7:
            return self._made(target_hz, 0.2, 0.12, moving=False)
        return self._made(target_hz, min(LONGEST_S, 0.7 * since_s), 0.03, moving=False)

    def _made(
        self, target_hz: float, window_s: float, sigma: float, *, moving: bool
    ) -> LiveReading:
        part = [c for t, c in self._shown if t > self.now_s - window_s]
        cents = float(np.mean(part)) + 0.6 * sigma * float(self.rng.standard_normal())
        hz = target_hz * 2.0 ** (cents / 1200.0)
        flags = (LiveFlag.MOVING,) if moving else ()
        return LiveReading(
            self.now_s,
            hz,
            sigma,
            cents,
            hz - target_hz,
            -20.0,
            window_s,
            flags,
            company=_ALONE,
            own_db=-20.0,
        )
