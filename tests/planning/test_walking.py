"""Ways through the case."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.sparse.csgraph import floyd_warshall

from walkboard.organ.examples import hall
from walkboard.organ.reading import read_organ
from walkboard.planning.minutes import ARRIVE_MINUTES
from walkboard.planning.walking import Leg, Round, Visit, Ways


@pytest.fixture(scope="module")
def organ():
    return read_organ(hall())


@pytest.fixture(scope="module")
def ways(organ):
    return Ways(organ)


def flues(*chests: str) -> list[Visit]:
    return [Visit(Round.FLUES, chest) for chest in chests]


def reeds(*chests: str) -> list[Visit]:
    return [Visit(Round.REEDS, chest) for chest in chests]


def test_walks_are_the_shortest_sums_of_the_named_ones(organ, ways):
    """SciPy's Floyd-Warshall on the same walks."""
    chests = ways.chests
    direct = np.array(
        [
            [organ.travel_minutes.get((a, b), np.inf if a != b else 0.0) for b in chests]
            for a in chests
        ]
    )
    shortest = floyd_warshall(direct)
    ours = np.array([[ways.minutes(a, b) for b in chests] for a in chests])
    joined = np.isfinite(shortest)
    assert joined.sum() > 40
    assert_allclose(ours[joined], shortest[joined])
    assert np.isfinite(ours).all()


def test_flues_come_before_reeds_and_every_visit_once(ways):
    wanted = flues("swell.flues", "great.front") + reeds("solo", "swell.reeds")
    legs = ways.round_trip(wanted, "great.front")
    assert {leg.visit for leg in legs} == set(wanted)
    assert [leg.visit.round for leg in legs] == [Round.FLUES] * 2 + [Round.REEDS] * 2
    assert legs[0] == Leg(Visit(Round.FLUES, "great.front"), ARRIVE_MINUTES)


def test_a_short_round_is_the_shortest_of_all_orders(ways):
    chests = ("great.front", "swell.flues", "positive.case", "pedal.left", "solo")
    legs = ways.round_trip(flues(*chests), "great.front")
    rest = chests[1:]
    shortest = min(
        sum(ways.minutes(a, b) for a, b in zip(("great.front", *order), order, strict=False))
        for order in permutations(rest)
    )
    assert_allclose(sum(leg.minutes for leg in legs[1:]), shortest)


def test_a_long_round_is_near_the_shortest(ways):
    """Nine chests by the search for a good order, against all 40 320 orders."""
    legs = ways.round_trip(flues(*ways.chests), "great.front")
    index = {chest: i for i, chest in enumerate(ways.chests)}
    walk = np.array([[ways.minutes(a, b) for b in ways.chests] for a in ways.chests])
    start = index["great.front"]
    others = [i for i in range(len(ways.chests)) if i != start]
    orders = np.array(list(permutations(others)))
    lengths = walk[start, orders[:, 0]] + walk[orders[:, :-1], orders[:, 1:]].sum(axis=1)
    assert sum(leg.minutes for leg in legs[1:]) <= 1.05 * lengths.min()


def test_what_must_come_first_comes_first(ways):
    pairs = {("solo", "great.back")}
    chests = [leg.visit.chest for leg in ways.round_trip(flues(*ways.chests), None, pairs)]
    assert chests.index("solo") < chests.index("great.back")


def test_charges_are_the_walk_and_what_a_chest_would_add(ways):
    wanted = flues("great.front", "swell.flues")
    legs = ways.round_trip(wanted, "great.front")
    more = Visit(Round.FLUES, "great.back")
    charged = ways.charges(legs, [*wanted, more])
    assert {leg.visit: leg.minutes for leg in legs}.items() <= charged.items()
    added = ways.minutes("great.front", "great.back") + ways.minutes("great.back", "swell.flues")
    assert_allclose(charged[more], added - ways.minutes("great.front", "swell.flues"))
