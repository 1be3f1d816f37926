"""The stop and key that sound a pipe: one choice for every page, sheet and session."""

from __future__ import annotations

import pytest

from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.sounding import held_key, held_keys

HALL, VILLAGE = read_organ(examples.hall()), read_organ(examples.village())

HEAD = """
format = 1
name = "Test"
temperament = "equal"
pitch = {a4_hz = 440.0, at_celsius = 18.0}
division = [{id = "great", name = "Great", keys = 56}, {id = "choir", name = "Choir", keys = 56}]
"""
FLUTE = '{id = "%s", division = "great", name = "Flute", family = "open", feet = "%s", \
pipes = %d, tuned_by = "slide"}'


def organ(ranks: list[str], stops: dict[str, str], division: dict[str, str] | None = None) -> Organ:
    tables = ", ".join(
        f'{{id = "{id_}", name = "{id_}", division = "{(division or {}).get(id_, "great")}", '
        f"plays = [{plays}]}}"
        for id_, plays in stops.items()
    )
    return read_organ(f"{HEAD}rank = [{', '.join(ranks)}]\nstop = [{tables}]\n")


@pytest.mark.parametrize("organ", [VILLAGE, HALL], ids=["village", "hall"])
def test_the_stop_and_key_named_sound_the_pipe(organ: Organ) -> None:
    for pipe in organ.pipes():
        held = held_key(organ, pipe)
        assert held is not None
        assert pipe in held.stop.pipes_at(held.key)


def test_a_pipe_goes_by_the_same_key_whichever_others_are_asked_about() -> None:
    for rank in HALL.ranks:
        pipes = [PipeRef(rank.id, number) for number in range(1, rank.pipes + 1)]
        assert held_keys(HALL, rank, pipes) == tuple(held_key(HALL, pipe) for pipe in pipes)


def test_the_stop_that_draws_fewer_other_ranks_is_chosen() -> None:
    both = organ(
        [FLUTE % ("a", "8", 56), FLUTE % ("b", "4", 56)],
        {"chorus": '{rank = "b"}, {rank = "a"}', "alone": '{rank = "a"}'},
    )
    held = held_key(both, PipeRef("a", 20))
    assert held is not None
    assert held.stop.id == "alone"
    other = held_key(both, PipeRef("b", 20))
    assert other is not None
    assert other.stop.id == "chorus"


def test_a_stop_of_another_keyboard_is_chosen_only_if_it_plays_more_pipes() -> None:
    ranks = [FLUTE % ("a", "8", 56)]
    stops = {"borrowed": '{rank = "a"}', "own": '{rank = "a"}'}
    held = held_key(organ(ranks, stops, {"borrowed": "choir"}), PipeRef("a", 3))
    assert held is not None
    assert held.stop.id == "own"
    stops = {"borrowed": '{rank = "a"}', "own": '{rank = "a", from = "C3"}'}
    held = held_key(organ(ranks, stops, {"borrowed": "choir"}), PipeRef("a", 30))
    assert held is not None
    assert held.stop.id == "borrowed"


def test_an_extension_is_left_only_for_the_pipes_that_it_does_not_reach() -> None:
    trombone = organ(
        [FLUTE % ("t", "16", 68)],
        {"eight": '{rank = "t", first_pipe = 13}', "sixteen": '{rank = "t"}'},
    )
    taken = {n: held_key(trombone, PipeRef("t", n)) for n in (1, 12, 13, 56, 68)}
    assert {n: held and (held.stop.id, held.key.name) for n, held in taken.items()} == {
        1: ("sixteen", "C2"),
        12: ("sixteen", "B2"),
        13: ("eight", "C2"),
        56: ("eight", "G5"),
        68: ("eight", "G6"),
    }


def test_a_pipe_that_no_stop_plays_has_no_key() -> None:
    short = organ([FLUTE % ("a", "8", 68)], {"alone": '{rank = "a"}'})
    assert held_key(short, PipeRef("a", 57)) is None
