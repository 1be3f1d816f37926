"""The bound on a pipe that is hidden under another's partials holds, and tightens with the hold."""

from __future__ import annotations

import numpy as np
import pytest

from tests.listening.joint.lines import band, joint_of
from tests.readings import bound_of, measured
from tests.registrations import RATE, mean_hz, scene
from walkboard.listening.joint.bounds import with_bounds
from walkboard.listening.joint.stacks import BandSet
from walkboard.listening.measure import measure_hold
from walkboard.listening.readings import Bound, CombReading, Measured, Withheld
from walkboard.listening.types import Comb, ReadingFlag, Spectrum

HINT = {"flue": Spectrum.FULL, "reed": Spectrum.BRIGHT, "stopped": Spectrum.ODD}
CHORUS = (1.0, 2.0, 3.0, 4.0)
HARD = {"faintest_db": -25.0, "wander_cents": 0.3}


def read(
    base_hz: float,
    kinds: tuple[str, ...],
    cents: tuple[float, ...],
    seed: int,
    seconds: float = 4.0,
    **more: float,
) -> tuple[tuple[CombReading, ...], list[float]]:
    """Readings of a chorus and the true frequencies in their windows."""
    due = tuple(base_hz * m for m in CHORUS[: len(kinds)])
    samples, courses = scene(
        due,
        kinds,
        np.random.default_rng([99, seed]),
        seconds=seconds,
        cents=cents,
        **({"faintest_db": -12.0, "wander_cents": 0.1} | more),  # type: ignore[arg-type]
    )
    combs = [
        Comb(str(n), hz, HINT[kind]) for n, (hz, kind) in enumerate(zip(due, kinds, strict=True))
    ]
    readings = measure_hold(samples, RATE, combs)
    truths = [mean_hz(c, r.start_s, r.end_s) for c, r in zip(courses, readings, strict=True)]
    return readings, truths


@pytest.mark.parametrize("base_hz", [98.0, 261.6, 523.3])
def test_a_chorus_nearly_in_tune_is_bounded(base_hz: float) -> None:
    bounded = 0
    for seed in range(3):
        cents = tuple(np.random.default_rng([seed, round(base_hz)]).normal(5.0, 0.4, 4))
        readings, truths = read(base_hz, ("flue",) * 4, cents, seed, **HARD)
        for reading, true_hz in zip(readings, truths, strict=True):
            if ReadingFlag.MERGED not in reading.flags or reading.bound_or_none is None:
                continue
            bounded += 1
            assert not isinstance(reading, Measured)
            bound = bound_of(reading)
            assert abs(1200.0 * np.log2(bound.near_hz / true_hz)) < bound.bound_cents
            # two resolutions of the window either side, at the pipe's second partial
            assert bound_of(reading).bound_cents < 1200.0 * np.log2(1.0 + 2.0 / true_hz)
    assert bounded >= 2


def test_a_longer_hold_bounds_more_closely() -> None:
    medians = []
    for seconds in (2.0, 4.0):
        bounds = [
            bound_of(reading).bound_cents
            for seed in range(3)
            for reading in read(
                261.6, ("flue",) * 4, (0.0, 0.05, 0.1, 0.15), seed, seconds, **HARD
            )[0]
            if reading.bound_or_none is not None
        ]
        medians.append(float(np.median(bounds)))
    assert medians[1] < 0.8 * medians[0]


def test_a_pipe_beyond_the_bound_is_heard() -> None:
    readings, truths = read(261.6, ("flue", "flue"), (0.0, 3.0), 3)
    assert isinstance(readings[1], Measured)
    assert abs(1200.0 * np.log2(measured(readings[1]).hz / truths[1])) < 0.05


def test_a_bound_moves_with_what_sounds() -> None:
    for shift in (-8.0, 8.0):
        readings, truths = read(261.6, ("flue", "flue"), (shift, shift + 0.03), 3)
        assert bound_of(readings[1]).near_hz == pytest.approx(truths[1], rel=6e-4)


# Lines written down: an octave's partials lie in the sub-bands of every second one of the unison.

OCTAVE_HZ = 524.0
HIDDEN = Withheld(pipe="1", start_s=0.0, end_s=4.0, flags=(ReadingFlag.MERGED,))


def bound(
    lines_hz: dict[int, list[float]], kind: Spectrum = Spectrum.FULL, softest_db: float = 0.0
) -> Bound | None:
    """The octave's bound where these lines, from the centre, sound in its partials' bands."""
    softest = 10.0 ** (softest_db / 20.0)
    bands = BandSet.of(
        (
            band(
                {0: 2 * number, 1: number},
                number * OCTAVE_HZ,
                [
                    (number * OCTAVE_HZ + away, softest if n else 1.0)
                    for n, away in enumerate(offsets)
                ],
            )
            for number, offsets in lines_hz.items()
        ),
        [OCTAVE_HZ / 2.0, OCTAVE_HZ],
    )
    combs = [Comb("0", OCTAVE_HZ / 2.0), Comb("1", OCTAVE_HZ, kind)]
    alone = Withheld(pipe="0", start_s=0.0, end_s=4.0, flags=(ReadingFlag.SILENT,))
    first, found = with_bounds(joint_of(bands), combs, [alone, HIDDEN])
    assert first.bound_or_none is None  # only of one that is merged
    return found.bound_or_none


def test_the_octave_is_where_its_partials_can_be() -> None:
    found = bound({n: [n * 0.5] for n in (1, 2, 3)})
    assert found is not None
    assert abs(found.near_hz - (OCTAVE_HZ + 0.5)) < 0.05
    # A Hann window over 4 s is 30 dB down from 0.45 Hz; the second partial is the last to leave.
    assert 0.2 / OCTAVE_HZ < np.log(2.0) * found.bound_cents / 1200.0 < 0.6 / OCTAVE_HZ


def test_one_partial_in_a_null_of_the_room_rules_no_place_out() -> None:
    """Its band holds only something 8 Hz away: the pipe may be where the others say."""
    whole, without = bound({n: [n * 0.5] for n in (1, 2, 3)}), bound({1: [8.0], 2: [1.0], 3: [1.5]})
    assert whole is not None
    assert without is not None
    assert abs(without.near_hz - whole.near_hz) < 0.05


def test_two_empty_bands_rule_a_place_out_and_then_there_may_be_none() -> None:
    assert bound({1: [8.0], 2: [-8.0], 3: [1.5]}) is None


def test_a_line_25_db_down_may_be_the_pipe_and_one_35_db_down_not() -> None:
    """Loud lines at the centre; softer ones 3 Hz above it, in every band, at the pipe's ratio."""
    lines = {n: [0.0, 3.0 * n] for n in (1, 2, 3)}
    audible, lost = bound(lines, softest_db=-25.0), bound(lines, softest_db=-35.0)
    assert audible is not None
    assert lost is not None
    assert audible.near_hz > OCTAVE_HZ + 1.0  # between the two
    assert abs(lost.near_hz - OCTAVE_HZ) < 0.1


def test_a_stopped_pipes_even_partials_are_not_missed() -> None:
    """Its second and fourth bands hold only the unison's partials, elsewhere."""
    lines = {1: [0.5], 2: [-6.0], 3: [1.5], 4: [-6.0]}
    stopped, open_pipe = bound(lines, Spectrum.ODD), bound(lines)
    assert stopped is not None
    assert abs(stopped.near_hz - (OCTAVE_HZ + 0.5)) < 0.05
    assert open_pipe is None or abs(open_pipe.near_hz - (OCTAVE_HZ + 0.5)) > 0.05


def test_partials_above_the_sixth_prove_nothing_and_one_band_is_too_few() -> None:
    """A dull pipe's eighth partial may be softer than any line."""
    assert bound({1: [0.5], 2: [1.0], 7: [-8.0], 8: [-8.0]}) is not None
    assert bound({1: [0.5], 7: [3.5], 8: [4.0]}) is None
