"""Each rule of acceptance on a scene that is wrong without it and that no other rule catches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.registrations import RATE, mean_hz, scene
from walkboard.listening.hold.measure import steady_window
from walkboard.listening.hold.spectrum import spectrum_of_hold
from walkboard.listening.joint.accept import RULES, Case, refused_by
from walkboard.listening.joint.bounds import with_bounds
from walkboard.listening.joint.stages import estimate_jointly
from walkboard.listening.readings import CombReading, Withheld, flagged, measured
from walkboard.listening.types import Comb
from walkboard.quantities import cents_of_ratio

Scene = tuple[NDArray[np.float64], list[NDArray[np.float64]], tuple[float, ...]]


def drawn(
    base_hz: float,
    multiples: tuple[float, ...],
    kinds: tuple[str, ...],
    seed: list[int],
    *,
    may_be_dead: bool = False,
    hard: bool = False,
) -> Scene:
    rng = np.random.default_rng(seed)
    due = tuple(m * base_hz for m in multiples)
    dead = int(rng.integers(len(due))) if may_be_dead else None
    if hard:  # seconds and wander
        seconds, wander = (
            float(rng.choice([2.0, 3.0, 4.0])),
            float(rng.choice([0.1, 0.3, 0.6, 1.5])),
        )
    else:
        seconds, wander = 4.0, 0.1
    faintest = -30.0 if hard else -18.0
    samples, courses = scene(
        due, kinds, rng, seconds=seconds, faintest_db=faintest, wander_cents=wander, dead=dead
    )
    return samples, courses, due


def sideband() -> Scene:
    """A dead 4′; at its place, 8 cents sharp and 33 dB under the 8′'s octave, one steady line."""
    due = (523.2, 1046.4)
    samples, courses = scene(
        due,
        ("flue", "flue"),
        np.random.default_rng(3),
        seconds=4.0,
        faintest_db=0.0,
        wander_cents=0.0,
        dead=1,
    )
    times = np.arange(len(samples)) / RATE
    octave_hz = 2.0 * courses[0][-1] / 4.0
    octave = abs(np.exp(-2j * np.pi * octave_hz * times) @ samples[:, 0]) / len(times)
    line = np.cos(2.0 * np.pi * 1046.4 * 2.0 ** (8.0 / 1200.0) * times)
    return samples + 2.0 * octave * 10.0 ** (-33.0 / 20.0) * line[:, np.newaxis], courses, due


def cases(made: Scene) -> list[Case]:
    """Each pipe's case, with the readings of all as they are before the last rule."""
    samples, _, due = made
    spectrum = spectrum_of_hold(samples, RATE)
    start_s, end_s = steady_window(spectrum.seconds, 0.04)
    joint = estimate_jointly(spectrum, due, (start_s, end_s))
    alone = [Case(spectrum, joint, pipe, end_s - start_s) for pipe in range(len(due))]
    readings: list[CombReading] = []
    for case in alone:
        rule = refused_by(case)
        plain = Withheld(pipe=str(case.pipe), start_s=start_s, end_s=end_s)
        if rule is not None:
            readings.append(flagged(plain, rule.flag_of(case)))
            continue
        hz, _ = joint.courses.heard(case.pipe, case.seconds)
        away = cents_of_ratio(hz / due[case.pipe])
        readings.append(measured(plain, hz=hz, sigma_cents=case.given_cents, cents=away))
    bounded = with_bounds(joint, [Comb(str(n), hz) for n, hz in enumerate(due)], readings)
    return [replace(case, readings=tuple(bounded)) for case in alone]


def hidden_octave() -> Scene:
    """The hidden octave's partials are the stopped pipe's even ones, far louder than its own."""
    due = (261.6, 523.2, 1046.4)
    samples, courses = scene(
        due,
        ("stopped", "flue", "flue"),
        np.random.default_rng([7_007, 6, 20, 4, 1, 0]),
        seconds=4.0,
        faintest_db=-25.0,
        wander_cents=0.3,
    )
    return samples, courses, due


def chorus(due: tuple[float, ...], seed: int, *, faintest_db: float, dead: int | None = 0) -> Scene:
    """A chorus with a dead pipe; or, none dead, three unisons of unlike kinds."""
    samples, courses = scene(
        due,
        ("flue", "stopped", "reed") if dead is None else ("flue",) * len(due),
        np.random.default_rng([77, seed]),
        seconds=4.0,
        faintest_db=faintest_db,
        wander_cents=0.3,
        dead=dead,
    )
    return samples, courses, due


@dataclass(frozen=True)
class Estimated:
    """One pipe's estimate as far as the width of its value needs it: 0.01 cent at 440 Hz."""

    room_factor: float
    ratio: NDArray[np.float64]
    wander_cents: NDArray[np.float64]
    seen: NDArray[np.bool_]

    @property
    def courses(self) -> Estimated:
        return self

    def room(self, pipe: int) -> float:  # noqa: ARG002 - there is one
        return self.room_factor

    def heard(self, pipe: int, seconds: float) -> tuple[float, float]:  # noqa: ARG002
        return 440.0, 440.0 * (2.0 ** (0.01 / 1200.0) - 1.0)


@pytest.mark.parametrize(
    ("clearest", "room", "wander_cents", "times"),
    [
        (4_000.0, 10.0, 0.15, 1.0),  # plain, in an easy room, calm: as estimated
        (400_000.0, 0.3, 0.0, 1.0),  # never narrower
        (1_000.0, 1.0, 0.0, 2.0),  # a quarter of the power: twice as wide
        (4_000.0, 40.0, 0.0, 2.0),  # the room is four times as rough: the same
        (1_000.0, 40.0, 0.0, 4.0),  # both
        (4_000.0, 10.0, 0.6, 8.0),  # four times the calm wander, to the power of 1.5
        (1_000.0, 40.0, 0.6, 32.0),
    ],
)
def test_sigma_is_wider_where_the_pipe_is_faint_the_room_rough_or_the_pitch_unsteady(
    clearest: float, room: float, wander_cents: float, times: float
) -> None:
    """By hand: variances grow with the room's factor and with what the power lacks.

    The clearest of three partials counts, and one that was not used does not.
    """
    ratio = np.array([[[0.1 * clearest]], [[clearest]], [[0.5 * clearest]], [[1e9]]])
    seen = np.array([[True], [True], [True], [False]])
    joint = Estimated(room, ratio, np.array([wander_cents]), seen)
    case = Case(None, joint, 0, 3.0)  # type: ignore[arg-type]
    assert case.given_cents == pytest.approx(0.01 * times, rel=1e-4)


SCENES: dict[str, tuple[Callable[[], Scene], int]] = {
    "crowded unison": (
        lambda: chorus((261.6,) * 3, 0, faintest_db=-30.0, dead=None),
        1,
    ),
    "overtones only": (lambda: chorus((92.5, 185.0), 2, faintest_db=-30.0), 0),
    "lost neighbour": (
        lambda: chorus((740.0, 1480.0, 2220.0, 2960.0), 27, faintest_db=-18.0),
        0,
    ),
    "misplaced": (hidden_octave, 0),
    "faint place": (lambda: chorus((261.6, 523.2, 1046.4), 11, faintest_db=-18.0, dead=1), 1),
    "soft line": (sideband, 1),
    "wide": (lambda: drawn(740.0, (1, 2, 3, 4), ("flue",) * 4, [991, 0, 12], hard=True), 1),
}


@pytest.mark.parametrize("name", [rule.name for rule in RULES])
def test_only_this_rule_catches_its_scene(name: str) -> None:
    make, pipe = SCENES[name]
    case = cases(make())[pipe]
    assert [rule.name for rule in RULES if rule.refuses(case)] == [name]


@pytest.mark.parametrize(
    "name", ["crowded unison", "overtones only", "faint place", "lost neighbour"]
)
def test_the_value_that_the_rule_withholds_is_far_from_the_truth(name: str) -> None:
    make, pipe = SCENES[name]
    made = make()
    case = cases(made)[pipe]
    hz, _ = case.joint.courses.heard(pipe, case.seconds)
    true_hz = mean_hz(made[1][pipe], *steady_window(4.0, 0.04))
    assert abs(cents_of_ratio(hz / true_hz)) > 20.0 * case.given_cents


def test_a_clean_registration_is_refused_by_no_rule() -> None:
    made = drawn(130.8, (1, 2, 3, 4), ("flue",) * 4, [5])
    for pipe, case in enumerate(cases(made)):
        assert refused_by(case) is None
        hz, _ = case.joint.courses.heard(pipe, case.seconds)
        window = steady_window(4.0, 0.04)
        assert abs(1200.0 * np.log2(hz / mean_hz(made[1][pipe], *window))) < 0.05
