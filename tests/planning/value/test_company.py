"""What a pipe sounds with, and where it beats."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from tests.condition.organs import small_organ
from tests.published.psychoacoustics import roughness_of_spectrum
from walkboard.condition.kinds import roles
from walkboard.organ.examples import hall
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.planning.arrays import FloatArray
from walkboard.planning.value.company import (
    ALONE,
    COUPLED,
    PARTIALS,
    Company,
    Registration,
    company_of,
    coupled_by,
    levels_db,
    ordinary,
)
from walkboard.planning.value.layout import Layout
from walkboard.quantities import ratio_of_cents

SMALL = small_organ()
HALL = read_organ(hall())


@pytest.mark.parametrize("organ", [SMALL, HALL])
def test_the_layout_is_the_organ(organ: Organ):
    layout = Layout.of(organ)
    for place, pipe in enumerate(organ.pipes()):
        assert layout.place(pipe) == place
        assert organ.ranks[layout.rank_of[place]].id == pipe.rank
    chosen = list(organ.pipes())[::37]
    assert_allclose(
        layout.nominal_hz[[layout.place(p) for p in chosen]],
        [target_hz(organ, p, None) for p in chosen],
        rtol=1e-12,
    )
    assert layout.role == roles(organ)


def drawn(layout: Layout, *ranks: str) -> Registration:
    present = np.zeros(len(layout.semitone))
    for rank in ranks:
        present[layout.slice_of(layout.organ.rank(rank))] = 1.0
    return Registration(present)


def of_pipe(company: Company, layout: Layout, rank: str, number: int = 25):
    place = layout.place(PipeRef(rank, number))
    return float(company.factor[place]), float(company.beating_partial[place])


def test_a_pipe_alone_beats_only_with_its_octaves():
    layout = Layout.of(SMALL)
    level = levels_db(layout, {})
    alone = company_of(layout, level, drawn(layout, "great.octave"))
    chorus = company_of(
        layout, level, drawn(layout, "great.octave", "great.principal", "great.twelfth")
    )
    assert ALONE < of_pipe(alone, layout, "great.octave")[0] < 0.9
    assert of_pipe(chorus, layout, "great.octave")[0] > of_pipe(alone, layout, "great.octave")[0]


def test_depth_is_that_of_two_sines():
    """Ripple of power 2ab/(a² + b²), worked out here for the Viola and the Oboe of the Swell.

    At the fifth and seventh partials only those two meet: the octave above has even ones, and the
    octave below would meet them with its tenth and fourteenth, which are not followed.
    """
    layout = Layout.of(SMALL)
    level = np.zeros(len(layout.semitone))
    both = company_of(layout, level, drawn(layout, "swell.viola", "swell.oboe"))
    place = layout.place(PipeRef("swell.viola", 25))
    hz = layout.nominal_hz[place]
    m = np.arange(1.0, PARTIALS + 1.0)
    bend = np.hypot(1.0, m * hz / 4000.0)
    viola, oboe = 1.0 / m / bend, 1.0 / np.sqrt(m) / bend
    viola, oboe = viola / np.linalg.norm(viola), oboe / np.linalg.norm(oboe)
    loud = viola**0.6 / (viola**0.6).sum()
    deep = loud * 2.0 * viola * oboe / (viola**2 + oboe**2)
    got = both.depth[place]
    assert np.all(got > 0.0)
    assert np.all(got <= loud + 1e-12)
    assert_allclose(got[[4, 6]], deep[[4, 6]], rtol=1e-9)


def test_a_soft_pipe_in_a_loud_chorus_is_heard_less():
    layout = Layout.of(SMALL)
    place = layout.place(PipeRef("great.twelfth", 25))
    soft, even = (
        company_of(layout, levels_db(layout, {place: level}), ordinary(layout)).factor[place]
        for level in (-10.0, 0.0)
    )
    assert soft < even


def test_the_beating_partial_is_where_half_of_the_beats_are_rough():
    """Found again by Brent's method (SciPy) on the sum of the single curves."""
    rng = np.random.default_rng(3)
    depth = rng.dirichlet(np.full(PARTIALS, 0.4), 20) * rng.uniform(0.1, 1.0, (20, 1))
    m2 = np.arange(1.0, PARTIALS + 1.0) ** 2
    for row, partial in zip(depth, Company(depth).beating_partial, strict=True):
        share = row / row.sum()
        root = brentq(lambda x, s=share: (s * m2 * x * x / (1.0 + m2 * x * x)).sum() - 0.5, 1e-3, 9)
        assert_allclose(1.0 / root, partial, rtol=1e-6)


def test_one_curve_replaces_the_sum_over_partials():
    """Largest error of ψ at the beating partial against the sum, at any deviation: under 0.11."""
    layout = Layout.of(HALL)
    company = company_of(layout, levels_db(layout, {}), ordinary(layout))
    share = company.depth / company.depth.sum(axis=1, keepdims=True)
    m = np.arange(1.0, PARTIALS + 1.0)
    x = np.geomspace(0.01, 30.0, 60)
    worst = 0.0
    for row, partial in zip(share[::11], company.beating_partial[::11], strict=True):
        u2 = (x[:, None] * m) ** 2
        whole = (row * u2 / (1.0 + u2)).sum(axis=1)
        one = (partial * x) ** 2 / (1.0 + (partial * x) ** 2)
        worst = max(worst, float(np.abs(whole - one).max()))
    assert worst < 0.11


def test_an_octave_out_of_tune_is_rougher_where_it_beats_more():
    """Sethares' roughness (1993, JASA 94:1218) of an 8′ pipe with a 4′, and with a twelfth soft.

    The order that his model gives to three companies of an 8′ pipe 20 cents off is the order of
    their factors here: with a 4′ as loud, with one 20 dB softer, alone.
    """
    layout = Layout.of(SMALL)
    place = layout.place(PipeRef("great.principal", 25))
    factors, rough = [], []
    m = np.arange(1.0, PARTIALS + 1.0)
    amplitude = 1.0 / m
    for level in (0.0, -20.0, None):
        ranks = ["great.principal"] + ([] if level is None else ["great.octave"])
        level_db = np.zeros(len(layout.semitone))
        if level is not None:
            level_db[layout.slice_of(SMALL.rank("great.octave"))] = level
        factors.append(company_of(layout, level_db, drawn(layout, *ranks)).factor[place])
        hz = 261.6 * ratio_of_cents(20.0)
        beside = [] if level is None else list(523.2 * m)
        strength = [] if level is None else list(amplitude * 10.0 ** (level / 20.0))
        own = roughness_of_spectrum(hz * m, amplitude)
        both = roughness_of_spectrum([*(hz * m), *beside], [*amplitude, *strength])
        other = roughness_of_spectrum(beside, strength) if beside else 0.0
        rough.append(both - own - other)
    assert np.all(np.diff(factors) < 0.0)
    assert np.all(np.diff(rough) < 0.0)


def two_ranks(second_division: str) -> Organ:
    """A Principal on the Great and an Octave on the Great too, or on the Swell with a coupler."""
    rank = (
        '[[rank]]\nid = "{0}"\ndivision = "{1}"\nname = "{0}"\nfamily = "open"\n'
        'tuned_by = "slide"\nfeet = "{2}"\npipes = 56\n'
    )
    division = '[[division]]\nid = "{0}"\nname = "{0}"\nkeys = 56\n'
    return read_organ(
        'format = 1\nname = "Example"\ntemperament = "equal"\n'
        "pitch = {a4_hz = 440.0, at_celsius = 18.0}\n"
        + division.format("great")
        + division.format("swell")
        + rank.format("principal", "great", "8")
        + rank.format("octave", second_division, "4")
        + '[[coupler]]\nid = "sw-gt"\nname = "Swell to Great"\nfrom = "swell"\nto = "great"\n'
    )


def test_a_coupler_brings_the_pipes_of_two_divisions_together():
    """Coupled, two divisions are heard as one; uncoupled, each only with itself."""
    pipe = PipeRef("principal", 30)

    def depth(organ: Organ, coupled: tuple[tuple[int, int, float], ...]) -> FloatArray:
        layout = Layout.of(organ)
        everything = Registration(np.ones(len(layout.semitone)), coupled)
        found: FloatArray = company_of(layout, np.zeros(len(layout.semitone)), everything).depth
        one: FloatArray = found[layout.place(pipe)]
        return one

    together, apart = two_ranks("great"), two_ranks("swell")
    assert_allclose(depth(apart, ((1, 0, 1.0),)), depth(together, ()), rtol=1e-9)
    assert abs(depth(apart, ())[1] / depth(together, ())[1] - 1.0) > 0.1


def test_couplers_count_now_and_then_unless_the_drawn_ones_are_known():
    layout = Layout.of(two_ranks("swell"))
    assert ordinary(layout).coupled == ((1, 0, COUPLED),)
    assert coupled_by(layout, ["principal", "sw-gt"]) == ((1, 0, 1.0),)
    assert coupled_by(layout, ["principal"]) == ()


def by_hand(layout: Layout, place: int, level_db: np.ndarray, present: np.ndarray) -> np.ndarray:
    """Depth of the beats of one pipe's partials, pipe by pipe and partial by partial.

    As the module's page states it: eight partials; open pipes fall as 1/m, reeds as 1/√m, stopped
    ones have a tenth of the even partials and fall as m^-1.5; all are weaker above 4 kHz. What the
    same key sounds in the division counts whole, the same stops an octave off half in power.
    """
    m = np.arange(1.0, 9.0)

    def partials(at: int) -> np.ndarray:
        family = layout.organ.ranks[layout.rank_of[at]].family.value
        shape = {
            "open": 1.0 / m,
            "reed": m**-0.5,
            "stopped": np.where(m % 2 == 1, 1.0, 0.1) * m**-1.5,
        }[family]
        shape = shape / np.sqrt(1.0 + (layout.nominal_hz[at] * m / 4000.0) ** 2)
        loud: np.ndarray = shape / np.linalg.norm(shape) * 10.0 ** (level_db[at] / 20.0)
        return loud

    own = partials(place)
    found = np.zeros(8)
    for n in range(8):
        meets = layout.eighths[place] * (n + 1)  # in eighths of the key's 8′ pitch
        power = 0.0
        for other in range(len(layout.semitone)):
            if other == place or layout.division_of[other] != layout.division_of[place]:
                continue
            keys_up = layout.semitone[other] - layout.semitone[place]
            if keys_up not in (-12, 0, 12):
                continue
            harmonics = layout.eighths[other] * m * 2.0 ** (keys_up / 12.0)
            share = present[other] * (1.0 if keys_up == 0 else 0.5)
            power += share * float((partials(other)[harmonics == meets] ** 2).sum())
        beside = np.sqrt(power)
        found[n] = 2.0 * own[n] * beside / (own[n] ** 2 + beside**2)
    loud = own**0.6
    depth: np.ndarray = loud / loud.sum() * found
    return depth


@pytest.mark.parametrize(
    ("rank", "number"),
    [
        ("great.principal", 25),
        ("great.octave", 1),
        ("great.twelfth", 40),
        ("great.trumpet", 30),
        ("swell.flute", 20),
        ("swell.oboe", 61),
    ],
)
def test_depths_are_those_of_a_plain_sum_over_pipes(rank: str, number: int):
    layout = Layout.of(SMALL)
    level = levels_db(layout, {layout.place(PipeRef("great.octave", 5)): 3.0})
    present = np.where(np.char.startswith([r.id for r in SMALL.ranks], "swell.cel"), 0.0, 0.5)
    registration = ordinary(layout)
    assert_allclose(registration.present, present[layout.rank_of])
    place = layout.place(PipeRef(rank, number))
    company = company_of(layout, level, registration)
    expected = by_hand(layout, place, level, registration.present)
    assert_allclose(company.depth[place], expected, rtol=1e-6, atol=1e-9)
    assert_allclose(company.factor[place], 0.4 + 0.6 * expected.sum(), rtol=1e-6)


def test_a_pipe_that_was_not_heard_is_as_loud_as_its_kind_usually_is():
    """Common practice, no source: a mixture's row is 6 dB below the flues, a reed 4 above."""
    layout = Layout.of(SMALL)
    bare = levels_db(layout, {})
    usual = {"principal": 0.0, "twelfth": -3.0, "mixture": -6.0, "trumpet": 4.0}
    for rank, db in usual.items():
        assert bare[layout.place(PipeRef(f"great.{rank}", 30))] == db
    assert bare[layout.place(PipeRef("swell.celeste", 30))] == -6.0


def test_the_rest_of_a_rank_is_as_loud_as_what_was_heard_of_it():
    layout = Layout.of(SMALL)
    first = layout.place(PipeRef("great.octave", 1))
    level = levels_db(layout, {first: 2.0, first + 1: -1.0, first + 2: 40.0})
    assert_allclose(level[first : first + 5], [2.0, -1.0, 10.0, 2.0, 2.0])
    assert level[layout.place(PipeRef("great.principal", 1))] == 0.0
    assert levels_db(layout, {first: -40.0})[first] == -10.0  # a bad recording, not a soft pipe


def test_a_row_of_a_mixture_is_at_its_harmonic_of_the_key():
    """A nineteenth is the sixth harmonic up to B3, from C4 on a fifteenth, the fourth."""
    layout = Layout.of(SMALL)
    mixture = layout.slice_of(SMALL.rank("great.mixture"))
    eighths = layout.eighths[mixture]
    assert_allclose(eighths[:24], 6 * 8)
    assert_allclose(eighths[24:], 4 * 8)
    assert_allclose(layout.eighths[layout.slice_of(SMALL.rank("great.twelfth"))], 3 * 8)
    assert_allclose(layout.semitone[mixture], np.arange(36, 97))
