"""Names of near unisons from how their ranks sound along the keys."""

import math

import numpy as np
from numpy.testing import assert_allclose

from tests.registrations import Voice
from walkboard.listening.joint.labels import expected_levels_db
from walkboard.listening.types import Comb, Partial, Spectrum
from walkboard.survey.hear.names import PairHeard, odds_along
from walkboard.survey.hear.unison_pairs import level_differences

SURE = math.log(0.98 / 0.02)
REED, OPEN = Spectrum.BRIGHT, Spectrum.FULL
HINT = {"reed": REED, "flue": OPEN, "stopped": Spectrum.ODD}


def pair(key: int, kinds: tuple[Spectrum, Spectrum], beyond_db: float, odds: float = 0.0):
    """Two pipes a key apart from their kinds by the same level at every partial."""
    hz = 65.4 * 2.0 ** (key / 12.0)
    numbers = list(range(1, min(12, int(6_000.0 / hz)) + 1))
    levels = [expected_levels_db(Comb("", hz, kind), numbers) for kind in kinds]
    due = {n: one - other for n, one, other in zip(numbers, *levels, strict=True)}
    return PairHeard(float(key), {n: level + beyond_db for n, level in due.items()}, due, odds)


def crosswise(one: PairHeard) -> PairHeard:
    turned = {n: -level for n, level in one.difference_db.items()}
    return PairHeard(one.place, turned, one.due_db, one.odds)


def test_a_reed_that_is_plain_in_the_bass_is_known_in_the_treble():
    """At 1 kHz a reed's partials fall like a flue's: only its loudness still differs."""
    treble = pair(48, (REED, OPEN), 8.0)
    assert odds_along([treble])[0] < SURE
    walk = [*(pair(key, (REED, OPEN), 8.0) for key in range(0, 46, 3)), treble]
    assert odds_along(walk)[-1] > SURE
    assert odds_along([*walk[:-1], crosswise(treble)])[-1] < -SURE


def test_crosswise_is_as_sure_the_other_way():
    walk = [pair(key, (REED, OPEN), 3.0) for key in range(36, 50, 6)]
    straight = odds_along(walk)
    assert 0.5 < min(straight) < max(straight) < 20.0
    assert_allclose(odds_along([crosswise(one) for one in walk]), np.negative(straight))


def test_two_of_a_kind_are_not_named_by_each_other_but_by_one_key_alone():
    walk = [pair(key, (OPEN, OPEN), 12.0) for key in range(0, 30, 5)]
    assert_allclose(odds_along(walk), 0.0, atol=1e-9)
    known = pair(12, (OPEN, OPEN), 12.0, odds=math.inf)
    assert min(odds_along([*walk, known])[:-1]) > SURE


def test_the_order_of_the_holds_does_not_matter():
    walk = [pair(key, (REED, OPEN), -4.0) for key in (3, 20, 41, 12)]
    assert_allclose(odds_along(walk[::-1])[::-1], odds_along(walk))


def test_a_missing_partial_counts_as_no_louder_than_the_faintest():
    open_, stopped = [(1, -20.0), (2, -29.0), (3, -34.0)], [(1, -18.0), (3, -40.0)]
    found = level_differences(
        [Partial(n, level) for n, level in open_], [Partial(n, level) for n, level in stopped]
    )
    assert_allclose([found[n] for n in (1, 2, 3)], [-2.0, 11.0, 6.0])


STOPPED_BESIDE_OPEN = {
    0: (1, -42, 1, None, -11, -18, -5, -32, -9, -20),
    3: (9, -9, 16, -34, 5, -19, -10, -24, None, -14),
    6: (2, -17, 12, -36, 6, -30, 6, -27, -13, None),
    9: (5, -9, 10, -34, 6, -29, -1, -30, -2, -20),
    12: (3, -31, 6, -36, -8, -27, -3, -24, -23, -23),
    15: (6, -46, 4, -31, -11, -31, 5, -25, -1, -23),
    18: (2, -42, 10, -39, -11, -19, -7, -34, -4, -25),
}
"""Levels over the open flue's [dB] of partials 1 to 10, by key: a walk of the bench, rounded."""


def test_even_partials_that_are_missing_at_every_key_leave_no_doubt():
    walk = []
    for key, differences in STOPPED_BESIDE_OPEN.items():
        due = pair(key, (Spectrum.ODD, OPEN), 0.0).due_db
        found = {n: float(x) for n, x in enumerate(differences, start=1) if x is not None}
        walk.append(PairHeard(float(key), found, due))
    assert min(odds_along(walk)) > SURE


def heard(levels_db: np.ndarray, rng: np.random.Generator) -> list[Partial]:
    """Partials through a room of more reverberant than direct sound."""
    tail = rng.normal(size=(2, len(levels_db))).T @ [1.0, 1j]
    through = levels_db + 20.0 * np.log10(np.abs(1.0 + tail))
    return [Partial(n, float(level)) for n, level in enumerate(through, start=1)]


def test_what_is_said_to_be_sure_is_right():
    """Walks of ranks whose loudness and spectrum go on along the keys, as the bench makes them."""
    rng = np.random.default_rng(12)
    kinds = ("reed", "flue")
    right, treble = [], []
    for _ in range(8):
        voices = [Voice.drawn(kind, rng, -18.0) for kind in kinds]
        walk, turned = [], []
        for key in range(0, 43, 3):
            hz = 65.4 * 2.0 ** (key / 12.0)
            numbers = list(range(1, min(12, int(6_000.0 / hz)) + 1))
            partials, due = [], []
            for voice in voices:
                loudness_db, shape = voice.pipe(key / 12.0, hz, rng)
                own = 20.0 * np.log10(shape[: len(numbers)] / np.linalg.norm(shape))
                partials.append(heard(loudness_db + own, rng))
                due.append(expected_levels_db(Comb("", hz, HINT[voice.kind]), numbers))
            difference = level_differences(*partials)
            one = PairHeard(
                float(key),
                difference,
                {n: a - b for n, a, b in zip(numbers, *due, strict=True)},
            )
            turned.append(bool(rng.integers(2)))
            walk.append(crosswise(one) if turned[-1] else one)
        for one, odds, cross in zip(walk, odds_along(walk), turned, strict=True):
            if abs(odds) > SURE:
                right.append((odds < 0.0) == cross)
            if one.place > 24.0:
                treble.append(abs(odds) > SURE)
    assert np.mean(right) > 0.97
    assert np.mean(treble) > 0.5


def test_a_missing_partial_counts_as_fainter_than_any_that_is_heard():
    """A soft pipe's missing partial is not taken as loud as a loud pipe's faintest one."""
    loud = [Partial(1, -10.0), Partial(3, -20.0)]
    soft = [Partial(1, -30.0), Partial(2, -33.0), Partial(3, -50.0)]
    assert level_differences(loud, soft) == {1: 20.0, 2: -50.0 + 33.0, 3: 30.0}
