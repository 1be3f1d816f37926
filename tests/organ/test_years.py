"""Readings stay with their pipe when a rank is replaced, moved or revoiced."""

from __future__ import annotations

from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.years import names_over_years, pipe_today


def organ(changes: str) -> Organ:
    return read_organ(f"""
format = 1
name = "Test"
temperament = "equal"
pitch = {{a4_hz = 440.0, at_celsius = 18.0}}
[[division]]
id = "great"
name = "Great"
keys = 56
[[division]]
id = "choir"
name = "Choir"
keys = 56
[[rank]]
id = "great.dulciana8"
division = "great"
name = "Dulciana"
family = "open"
feet = "8"
pipes = 56
tuned_by = "slide"
changes = [{changes}]
[[rank]]
id = "choir.flute8"
division = "choir"
name = "Flute"
family = "stopped"
feet = "8"
pipes = 56
tuned_by = "stopper"
""")


MOVED = '{year = 2011, what = "moved", was = "choir.dulciana8", was_first = 13}'


def test_a_moved_rank_keeps_its_readings_under_its_new_name() -> None:
    moved = organ(MOVED)
    assert pipe_today(moved, PipeRef("choir.dulciana8", 20), 2008) == PipeRef("great.dulciana8", 8)
    assert pipe_today(moved, PipeRef("great.dulciana8", 8), 2015) == PipeRef("great.dulciana8", 8)
    assert names_over_years(moved, PipeRef("great.dulciana8", 8)) == (
        (PipeRef("great.dulciana8", 8), 2011),
        (PipeRef("choir.dulciana8", 20), None),
    )


def test_pipes_left_behind_are_gone() -> None:
    assert pipe_today(organ(MOVED), PipeRef("choir.dulciana8", 3), 2008) is None


def test_a_replaced_rank_begins_afresh() -> None:
    replaced = organ('{year = 1998, what = "replaced"}')
    assert pipe_today(replaced, PipeRef("great.dulciana8", 5), 1990) is None
    assert pipe_today(replaced, PipeRef("great.dulciana8", 5), 1998) is not None
    assert names_over_years(replaced, PipeRef("great.dulciana8", 5)) == (
        (PipeRef("great.dulciana8", 5), 1998),
    )


def test_a_revoiced_rank_keeps_its_readings() -> None:
    revoiced = organ('{year = 1998, what = "revoiced"}')
    assert pipe_today(revoiced, PipeRef("great.dulciana8", 5), 1990) is not None


def test_what_was_moved_and_later_replaced_is_gone_and_other_ranks_are_left_alone() -> None:
    both = organ(f'{MOVED}, {{year = 2020, what = "replaced"}}')
    assert pipe_today(both, PipeRef("choir.dulciana8", 20), 2008) is None
    assert pipe_today(both, PipeRef("choir.flute8", 20), 2008) == PipeRef("choir.flute8", 20)
