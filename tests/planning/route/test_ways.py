"""Ways through the case."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.sparse.csgraph import floyd_warshall

from walkboard.organ.examples import hall
from walkboard.organ.reading import read_organ
from walkboard.planning.air_course import AirCourse
from walkboard.planning.minutes import COMING_IN_MINUTES
from walkboard.planning.route.ways import Leg, Round, Visit, Ways, Weather, Work


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


def test_reeds_wait_for_their_own_flues_and_every_visit_is_made_once(ways):
    wanted = flues("swell.flues", "great.front") + reeds("solo", "swell.reeds")
    way = ways.round_trip(wanted, "great.front")
    assert {leg.visit for leg in way.legs} == set(wanted)
    order = [leg.visit for leg in way.legs]
    assert order.index(Visit(Round.FLUES, "swell.flues")) < order.index(
        Visit(Round.REEDS, "swell.reeds")
    )
    assert way.legs[0] == Leg(Visit(Round.FLUES, "great.front"), COMING_IN_MINUTES)


def test_a_chest_is_finished_while_one_is_in_it(ways):
    """Its own flues done, a chest's reeds need not wait for another division's flues."""
    wanted = flues("great.front", "swell.flues") + reeds("great.front")
    legs = ways.round_trip(wanted, "great.front").legs
    assert [leg.visit for leg in legs[:2]] == [
        Visit(Round.FLUES, "great.front"),
        Visit(Round.REEDS, "great.front"),
    ]


def test_a_round_is_the_shortest_of_all_orders(ways):
    """Nine chests, against all 40 320 orders."""
    way = ways.round_trip(flues(*ways.chests), "great.front")
    index = {chest: i for i, chest in enumerate(ways.chests)}
    walk = np.array([[ways.minutes(a, b) for b in ways.chests] for a in ways.chests])
    start = index["great.front"]
    others = [i for i in range(len(ways.chests)) if i != start]
    orders = np.array(list(permutations(others)))
    lengths = walk[start, orders[:, 0]] + walk[orders[:, :-1], orders[:, 1:]].sum(axis=1)
    assert_allclose(way.minutes - COMING_IN_MINUTES, lengths.min())
    assert_allclose(way.bound_minutes, way.minutes)


def test_mixtures_wait_for_the_principals_of_their_division(ways):
    """Mixtures on the front chest, principals on the back one as well: the front is come to again.

    Nobody comes back where the mixtures can be done at once.
    """
    mixtures = Visit(Round.MIXTURES, "great.front")
    legs = ways.round_trip([*flues("great.front", "great.back"), mixtures], "great.front").legs
    assert [leg.visit.chest for leg in legs] == ["great.front", "great.back", "great.front"]
    alone = ways.round_trip([*flues("great.front", "solo"), mixtures], "great.front").legs
    assert alone[1] == Leg(mixtures, 0.0)


def test_reeds_are_come_to_when_the_air_is_nearest_the_events(ways):
    """The Swell cools down to its event's air, the Solo warms away from it: Solo first.

    Without the air the nearer chest comes first.
    """
    wanted = flues("great.front") + reeds("swell.reeds", "solo")
    work = {visit: Work(60.0, 40 if visit.round is Round.REEDS else 0) for visit in wanted}
    falling, rising = AirCourse(20.0, -1.5), AirCourse(18.0, 1.5)
    weather = Weather({"swell": falling, "solo": rising}, {"swell": 18.0, "solo": 18.0})
    still = ways.round_trip(wanted, "great.front", work=work)
    moving = ways.round_trip(wanted, "great.front", work=work, weather=weather)
    assert [leg.visit.chest for leg in still.legs][1:] == ["swell.reeds", "solo"]
    assert [leg.visit.chest for leg in moving.legs][1:] == ["solo", "swell.reeds"]
    assert moving.minutes > still.minutes


def test_charges_are_the_walk_and_what_a_chest_would_add(ways):
    wanted = flues("great.front", "swell.flues")
    legs = ways.round_trip(wanted, "great.front").legs
    more = Visit(Round.FLUES, "great.back")
    charged = ways.charges(legs, [*wanted, more])
    assert {leg.visit: leg.minutes for leg in legs}.items() <= charged.items()
    added = ways.minutes("great.front", "great.back") + ways.minutes("great.back", "swell.flues")
    assert_allclose(charged[more], added - ways.minutes("great.front", "swell.flues"))
