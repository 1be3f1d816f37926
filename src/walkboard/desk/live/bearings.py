"""Setting the bearings live: the steps, their pipes, and what was heard of each key.

The session is an ordinary one whose worklist is the keys in the order of the bearings; the beats of
every interval are calculated from the keys as last heard.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from walkboard.errors import InputError
from walkboard.organ.model import Organ, PipeRef, Stop
from walkboard.organ.targets import target_hz
from walkboard.scales.bearings import (
    A3,
    A4,
    BearingStep,
    HeardInterval,
    measure_checks,
    octaves_out,
    temperament_octave,
)
from walkboard.scales.keys import Key
from walkboard.scales.pitch import key_hz
from walkboard.work.live.values import Shown, Task

_SURE_CENTS = 0.3  # of a reading that counts as heard


def bearing_stops(organ: Organ) -> tuple[Stop, ...]:
    """The stops suitable for bearings: flues of one rank with A3 to A4."""
    return tuple(
        stop
        for stop in organ.stops
        if len(stop.plays) == 1
        and organ.rank(stop.plays[0].rank).family.is_flue
        and not organ.rank(stop.plays[0].rank).is_celeste
        and stop.plays[0].from_key <= A3
        and stop.plays[0].to_key >= A4
    )


@dataclass(eq=False)
class Laying:
    """The bearings of one stop.

    Parameters
    ----------
    organ : Organ
    stop : Stop
        One of `bearing_stops`.
    air_celsius : mapping of division to float
        [°C]

    Raises
    ------
    InputError
        If the stop is not suitable for bearings.
    """

    organ: Organ
    stop: Stop
    air_celsius: Mapping[str, float]
    heard_hz: dict[Key, float] = field(default_factory=dict)
    steps: tuple[BearingStep, ...] = field(init=False)
    octave: int = field(init=False)

    def __post_init__(self) -> None:
        if self.stop.id not in {stop.id for stop in bearing_stops(self.organ)}:
            raise InputError(
                f"Bearings cannot be laid on {self.stop.id}.",
                fix="Choose a flue stop of one rank that has A3 to A4.",
            )
        played = self.stop.plays[0]
        pitch = self.organ.pitch.a4_hz
        inner = temperament_octave(pitch, self.organ.temperament)
        outer = octaves_out(played.from_key, played.to_key, pitch, self.organ.temperament)
        self.steps = (*inner, *outer)
        self.octave = len(inner)

    def tasks(self) -> tuple[Task, ...]:
        """A4, which is given, and then each key in the order it is set."""
        keys = [A4, *(step.key for step in self.steps if not step.closes)]
        return tuple(
            Task(self.pipe(key), key, self.stop.id, self._target_hz(key))
            for key in dict.fromkeys(keys)
        )

    def pipe(self, key: Key) -> PipeRef:
        """The pipe of a key."""
        return self.stop.pipes_at(key)[0]

    def see(self, shown: Shown) -> bool:
        """Add what was heard; returns whether it is new."""
        task, reading = shown.task, shown.reading
        if shown.finished is not None:
            task = shown.finished.task
        if task is None or reading is None or reading.hz is None or reading.sigma_cents is None:
            return False
        if reading.sigma_cents > _SURE_CENTS:
            return False
        # At 8′ and the organ's own temperature, where the beats of the steps are those of its book.
        own_hz = key_hz(task.key, self.organ.pitch.a4_hz, self.organ.temperament)
        self.heard_hz[task.key] = reading.hz * own_hz / self._target_hz(task.key)
        return True

    def to_json(self) -> dict[str, Any]:
        """The intervals heard, for the page: of each step its own, then its checks."""
        found = []
        for number, step in enumerate(self.steps):
            (by,) = measure_checks((step.by,), self.heard_hz) or (None,)
            checks = {
                step.checks.index(heard.interval): _written(heard)
                for heard in measure_checks(step.checks, self.heard_hz)
            }
            if by is not None or checks:
                found.append(
                    {"n": number, "by": None if by is None else _written(by), "checks": checks}
                )
        return {"heard": found}

    def _target_hz(self, key: Key) -> float:
        rank = self.organ.rank(self.pipe(key).rank)
        return target_hz(self.organ, self.pipe(key), self.air_celsius.get(rank.division))


def _written(heard: HeardInterval) -> dict[str, float]:
    return {"beat": round(heard.beat_hz, 2), "cents": round(heard.cents, 2)}
