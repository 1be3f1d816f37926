"""The order of work, as the trade has it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import pytest

from tests.condition.organs import small_organ
from tests.planning.states import a_state
from walkboard.condition.assess import assess
from walkboard.condition.kinds import Role, roles
from walkboard.condition.state import PipeCents
from walkboard.organ.celestes import partner_of
from walkboard.organ.examples import hall, village
from walkboard.organ.kinds import ChestLayout, PipeOrder
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.planning.plan import PlanItem
from walkboard.planning.request import PlanRequest
from walkboard.planning.route.order import place_on_chest, reference_rank
from walkboard.planning.route.ways import Round, Visit, Ways
from walkboard.planning.what_if import prepare

HALL = read_organ(hall())


@pytest.fixture(scope="module")
def worklist():
    pipes = a_state(HALL, 21, strays=0.1)
    return plan_of(HALL, pipes)


def plan_of(organ: Organ, pipes: Sequence[PipeCents]) -> tuple[PlanItem, ...]:
    return prepare(organ, assess(organ, pipes, {}), pipes).plan(PlanRequest(2500.0)).items


@pytest.mark.parametrize(
    ("organ", "rank"),
    [
        (HALL, "great.octave4"),
        (read_organ(village()), "great.principal4"),
        (small_organ(), "great.octave"),
    ],
)
def test_the_reference_is_a_four_foot_principal_of_the_main_division(organ, rank):
    """Reeds are heard against a 4′ Octave or Principal (Casavant opus 400 site, 2019)."""
    found = reference_rank(organ)
    assert found is not None
    assert found.id == rank


def test_the_reference_rank_comes_first(worklist):
    assert worklist[0].pipe.rank == "great.octave4"


def test_reeds_come_after_the_flues_that_they_are_tuned_to(worklist):
    """Reeds last, as the most easily disarranged (Encyclopedia Americana, tuning): last of their
    division, for a chest is finished while one is in it (common practice, no source)."""
    assert any(not HALL.rank(item.pipe.rank).family.is_flue for item in worklist)
    for division in HALL.divisions:
        own = [HALL.rank(i.pipe.rank) for i in worklist]
        reed = [not r.family.is_flue for r in own if r.division == division.id]
        assert reed == sorted(reed)


def test_a_celeste_comes_after_its_partner_and_is_tuned_against_it():
    pipes = a_state(HALL, 11)
    items = plan_of(HALL, pipes)
    part = roles(HALL)
    celestes = [r for r in HALL.ranks if part[r.id] is Role.CELESTE]
    assert celestes
    for rank in celestes:
        partner = partner_of(HALL, rank)
        assert partner is not None
        assert partner.multiples[0][1] == rank.multiples[0][1]
        assert partner.division == rank.division
        order = [item.pipe.rank for item in items]
        if rank.id in order and partner.id in order:
            last = max(n for n, r in enumerate(order) if r == partner.id)
            assert order.index(rank.id) > last


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        (None, [1, 2, 3, 4, 5, 6, 7, 8]),
        (PipeOrder.CHROMATIC, [1, 2, 3, 4, 5, 6, 7, 8]),
        (PipeOrder.SIDES, [1, 3, 5, 7, 8, 6, 4, 2]),
        (PipeOrder.SIDES_INWARD, [7, 5, 3, 1, 2, 4, 6, 8]),
        (PipeOrder.MINOR_THIRDS, [1, 4, 7, 8, 5, 2, 3, 6]),
    ],
)
def test_pipes_come_in_the_order_on_the_chest(order, expected):
    """C and C♯ sides with the large pipes outside: C D E F♯, then G F D♯ C♯ from the middle out.

    Worked by hand from how such chests are laid out (common practice, no source).
    """
    rank = replace(HALL.rank("great.octave4"), chest_layout=ChestLayout(order))
    assert sorted(range(1, 9), key=lambda n: place_on_chest(rank, n)) == expected


def test_mixtures_come_after_the_principals_of_their_division(worklist):
    """Great chorus 8, 4, 2⅔, 2, mixtures (common practice, no source)."""
    part = roles(HALL)
    for division in HALL.divisions:
        own = [i.pipe.rank for i in worklist if HALL.rank(i.pipe.rank).division == division.id]
        mixtures = [n for n, rank in enumerate(own) if part[rank] is Role.MIXTURE]
        chorus = [n for n, rank in enumerate(own) if part[rank] in (Role.UNISON, Role.MUTATION)]
        if mixtures and chorus:
            assert min(mixtures) > max(chorus)
    assert any(part[item.pipe.rank] is Role.MIXTURE for item in worklist)


def test_a_rank_is_done_in_one_go_with_the_keys_upward(worklist):
    ranks = [item.pipe.rank for item in worklist]
    changes = sum(a != b for a, b in pairwise(ranks))
    assert changes == len(set(ranks)) - 1
    for rank in set(ranks):
        numbers = [item.pipe.number for item in worklist if item.pipe.rank == rank]
        assert numbers == sorted(numbers)


def test_each_chest_is_come_to_once_in_each_round(worklist):
    visits = [
        (HALL.rank(item.pipe.rank).family.is_flue, HALL.rank(item.pipe.rank).chest)
        for item in worklist
    ]
    changes = sum(a != b for a, b in pairwise(visits))
    assert changes == len(set(visits)) - 1


def test_the_far_toe_board_is_tuned_before_the_one_that_is_reached_over():
    """After the reference rank; without boards the 8′ comes before the 4′."""
    ranks = [("octave", "4", 1), ("viola", "8", 2), ("flute", "4", 3)]

    def planned(*, boards: bool) -> list[str]:
        described = "".join(
            f'[[rank]]\nid = "{id_}"\ndivision = "great"\nname = "{id_.title()}"\nfamily = "open"\n'
            f'tuned_by = "slide"\nfeet = "{feet}"\npipes = 56\n'
            + (f"toe_board = {board}\n" if boards else "")
            for id_, feet, board in ranks
        )
        organ = read_organ(
            'format = 1\nname = "Example"\ntemperament = "equal"\n'
            "pitch = {a4_hz = 440.0, at_celsius = 18.0}\n"
            '[[division]]\nid = "great"\nname = "Great"\nkeys = 56\n' + described
        )
        off = {30: 12.0}
        pipes = [PipeCents(p, off.get(p.number, 0.0), 0.05, None, 18.0) for p in organ.pipes()]
        return [item.pipe.rank for item in plan_of(organ, pipes)]

    assert planned(boards=False) == ["octave", "viola", "flute"]
    assert planned(boards=True) == ["octave", "flute", "viola"]


def test_a_celeste_waits_for_a_partner_in_another_division():
    rank = (
        '[[rank]]\nid = "{0}"\ndivision = "{1}"\nname = "{0}"\nfamily = "open"\n'
        'tuned_by = "slide"\nfeet = "8"\npipes = 56\n'
    )
    division = '[[division]]\nid = "{0}"\nname = "{0}"\nkeys = 56\n'
    organ = read_organ(
        'format = 1\nname = "Example"\ntemperament = "equal"\n'
        "pitch = {a4_hz = 440.0, at_celsius = 18.0}\n"
        + division.format("great")
        + division.format("echo")
        + division.format("solo")
        + rank.format("principal", "great")
        + rank.format("viola", "solo")
        + rank.format("celeste", "echo")
        + 'celeste = {cents = 10.0, partner = "viola"}\n'
        # the Echo is on the way to the Solo, so the shortest way would be to it first
        '[[travel]]\nfrom = "great"\nto = "echo"\nminutes = 1.0\n'
        '[[travel]]\nfrom = "echo"\nto = "solo"\nminutes = 1.0\n'
    )
    celeste, viola = Visit(Round.CELESTES, "echo"), Visit(Round.FLUES, "solo")
    great = Visit(Round.FLUES, "great")
    legs = Ways(organ).round_trip([celeste, viola, great], "great").legs
    order = [leg.visit for leg in legs]
    assert order.index(viola) < order.index(celeste)
