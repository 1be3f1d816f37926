"""Which temperament an organ is in."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import ArrayLike

from tests.condition.organs import readings, small_organ
from tests.published.rows import rows
from walkboard.condition.assess import assess
from walkboard.condition.candidates import candidates
from walkboard.condition.temperament import NONE_OF_THESE, temperament_of
from walkboard.scales.temperament import known

# Printed tables, each with its source: Gann, Dupont, Sapp, Neidhardt after Groenewald, Duffin …
PUBLISHED = [row for row in rows() if row.id.startswith("temper.published.")]


def heard(
    above_c: ArrayLike,
    *,
    octaves: int = 4,
    ranks: int = 1,
    noise: float = 1.0,
    strays: float = 0.0,
    root: int = 0,
    seed: int = 1,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Cents from equal temperament at an unknown pitch, notes and ranks, of a printed table."""
    rng = np.random.default_rng(seed)
    notes = np.tile(np.arange(12), octaves * ranks)
    rank = np.repeat(np.arange(ranks), 12 * octaves)
    offsets = np.asarray(above_c, dtype=np.float64) - 100.0 * np.arange(12)
    cents = 4.0 + np.roll(offsets, root)[notes] + rng.normal(0.0, noise, len(notes))
    cents += np.where(rng.random(len(notes)) < strays, rng.uniform(5.0, 25.0, len(notes)), 0.0)
    return cents, np.full(len(notes), 0.1), notes, rank


def test_there_are_printed_tables_to_try():
    assert len(PUBLISHED) >= 10


@pytest.mark.parametrize("row", PUBLISHED, ids=lambda row: row.id)
def test_an_organ_tuned_to_a_printed_table_is_reported(row):
    """The table as printed, with a cent of noise and a tenth strayed sharp."""
    printed = np.asarray(row.value, dtype=np.float64)
    if row.quantity.startswith("printed table, cents above C"):
        printed = printed[:12] - 100.0 * np.arange(12)
    found = temperament_of(*heard(printed + 100.0 * np.arange(12), octaves=5, strays=0.1))
    table = {c.names: c.offsets_cents for c in candidates(None)}[found.candidates[0].names]
    # the same to what the print's rounding and a neighbouring table leave open
    assert_allclose(table, printed - printed[9], rtol=0, atol=2.1, err_msg=row.source)
    assert_allclose(found.offsets_cents, printed - printed[9], rtol=0, atol=2.5)


def test_werckmeister_on_another_root_is_reported_with_its_root():
    above_c = known("werckmeister iii").cents_above_c
    found = temperament_of(*heard(above_c, octaves=5, root=2))
    assert found.claimed is not None
    assert found.claimed.root == 2
    assert any("werckmeister iii" in name for name in found.claimed.names)


def test_rotations_that_are_the_same_are_one_candidate():
    """Vallotti is Young 2 a fifth flatward (so the encyclopedias); equal has no root."""
    every = candidates(None)
    equal = [c for c in every if "equal" in c.names]
    assert [(c.root, round(c.chance * 12 * 22, 6)) for c in equal] == [(0, 12.0)]
    vallotti = next(c for c in every if "vallotti" in c.names)
    assert vallotti.names == ("vallotti", "young 2 on F")
    assert_allclose(sum(c.chance for c in every), 1.0)


def test_too_little_is_not_claimed():
    """One octave with 2 cents of noise: several fit, and all are listed."""
    found = temperament_of(*heard(known("vallotti").cents_above_c, octaves=1, noise=2.0, seed=4))
    assert found.claimed is None
    assert len(found.candidates) > 3
    chances = [c.probability for c in found.candidates]
    assert chances == sorted(chances, reverse=True)
    assert sum(chances) <= 1.0 + 1e-9


def test_a_claim_is_right_nearly_always():
    """Two octaves, 2 cents, 8 % strays; the study with the shares is bench/temperament.py."""
    rng = np.random.default_rng(8)
    every = candidates(None)
    claims = right = 0
    for seed in range(60):
        truth = every[rng.integers(len(every))]
        above_a = np.array(truth.offsets_cents) + 100.0 * np.arange(12)
        found = temperament_of(*heard(above_a, octaves=2, noise=2.0, strays=0.08, seed=seed))
        if found.claimed is not None:
            claims += 1
            right += found.claimed.names == truth.names
    assert claims >= 10
    assert right >= claims - 1


def test_an_unknown_temperament_is_not_named():
    odd = 100.0 * np.arange(12) + np.array([0, 9, -8, 7, -9, 8, -7, 9, -8, 0, 9, -9])
    found = temperament_of(*heard(odd, octaves=5))
    assert found.candidates[0].names == (NONE_OF_THESE,)
    assert found.claimed is None


def test_pipes_out_of_all_tune_support_no_claim():
    rng = np.random.default_rng(0)
    notes = np.tile(np.arange(12), 5)
    for _ in range(10):
        cents = rng.uniform(-50.0, 50.0, 60)
        found = temperament_of(cents, np.full(60, 0.1), notes, np.zeros(60, dtype=np.int64))
        assert found.claimed is None


@pytest.mark.parametrize("described", ["equal", "meantone 1/4", "kirnberger iii"])
def test_the_answer_does_not_depend_on_what_the_description_says(described):
    """The same pipes, read against three descriptions."""
    organ = small_organ(described)
    stands = known("werckmeister iii")

    def cents(pipe):
        key = organ.rank(pipe.rank).key_of(pipe.number)
        return stands.offset_cents(key) - organ.temperament.offset_cents(key)

    state = assess(organ, readings(organ, ["great.octave", "swell.viola"], cents, 18.0), {})
    assert state.temperament is not None
    assert state.temperament.claimed is not None
    assert state.temperament.claimed.names == ("werckmeister iii",)
    offsets = [
        c - 100.0 * i - (stands.cents_above_c[9] - 900.0)
        for i, c in enumerate(stands.cents_above_c)
    ]
    assert_allclose(state.temperament.offsets_cents, offsets, rtol=0, atol=0.8)


def test_only_unisons_are_asked():
    """Mutations, mixtures, celestes and reeds alone say nothing of the temperament."""
    organ = small_organ("werckmeister iii")
    ranks = ["great.twelfth", "great.mixture", "great.trumpet", "swell.celeste"]
    assert assess(organ, readings(organ, ranks, lambda _: 0.0, 18.0), {}).temperament is None


def test_a_note_that_was_not_heard_has_no_offset():
    cents, sigma, notes, rank = heard(known("equal").cents_above_c)
    some = (notes != 3) & (notes != 9)
    found = temperament_of(cents[some], sigma[some], notes[some], rank[some])
    assert np.isnan(found.offsets_cents[3])
    assert np.isnan(found.offsets_cents[9])
    assert_allclose(np.nanmax(np.abs(found.offsets_cents)), 0.0, rtol=0, atol=1.5)


@pytest.mark.parametrize("above", [-60.0, 37.0])
def test_the_pitch_that_an_organ_is_at_changes_nothing(above):
    """An organ far from the description's pitch, each of its ranks a little elsewhere."""
    cents, sigma, notes, ranks = heard(known("werckmeister iii").cents_above_c, octaves=3, ranks=2)
    here = temperament_of(cents, sigma, notes, ranks)
    there = temperament_of(cents + above + 3.0 * ranks, sigma, notes, ranks)
    assert here.claimed is not None
    assert there.claimed is not None
    assert there.claimed.names == here.claimed.names
    assert_allclose(there.offsets_cents, here.offsets_cents, atol=0.15)
