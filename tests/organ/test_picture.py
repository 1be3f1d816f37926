"""The organ at a glance: what is where, what is borrowed or extended."""

from __future__ import annotations

from walkboard.organ import examples
from walkboard.organ.picture import Bar, picture, picture_text
from walkboard.organ.reading import read_organ

VILLAGE = read_organ(examples.village())


def test_every_rank_is_drawn_once_on_its_chest() -> None:
    ranks = [row.id for one in picture(VILLAGE) for chest in one.chests for row in chest.rows]
    assert sorted(ranks) == sorted(rank.id for rank in VILLAGE.ranks)


def test_an_extension_says_what_it_is_taken_from_and_at_what_pitch() -> None:
    rows = {row.id: row for one in picture(VILLAGE) for row in one.elsewhere}
    flute = rows["pedal.flute8"]
    assert (flute.bar, flute.taken_from, flute.feet) == (Bar.EXTENDED, "pedal.bourdon16", "8")


def test_a_rank_of_another_division_is_borrowed() -> None:
    text = examples.village() + (
        '\n[[stop]]\nid = "pedal.oboe"\nname = "Oboe"\ndivision = "pedal"\n'
        'plays = [{rank = "swell.oboe8"}]\n'
    )
    rows = [row for one in picture(read_organ(text)) for row in one.elsewhere]
    assert [row.bar for row in rows if row.id == "pedal.oboe"] == [Bar.BORROWED]


def test_a_short_rank_begins_later_in_the_drawing() -> None:
    lines = picture_text(VILLAGE).split("\n")
    oboe = next(line for line in lines if "Oboe" in line)
    principal = next(line for line in lines if "Principal" in line)
    assert oboe.index("█") - principal.index("█") == 6  # twelve keys, two a column
    assert "Swell (" in "\n".join(lines)
    assert ", enclosed)" in "\n".join(lines)


BUILT = read_organ(
    """
format = 1
name = "Example"
temperament = "equal"
pitch = {a4_hz = 440.0, at_celsius = 18.0}
[[division]]
id = "great"
name = "Great"
keys = 56
[[rank]]
id = "flute"
division = "great"
name = "Flute"
family = "stopped"
tuned_by = "stopper"
feet = "8"
pipes = 56
toe_board = 2
order = "minor thirds"
parts = [{from = "C4", family = "open", tuned_by = "cone"}]
[[rank]]
id = "principal"
division = "great"
name = "Principal"
family = "open"
tuned_by = "slide"
feet = "8"
pipes = 56
toe_board = 1
order = "sides"
dumb = 4
front = {from = "C2", to = "B2"}
"""
)


def test_boards_sides_and_front_are_drawn() -> None:
    lines = [line for line in picture_text(BUILT).split("\n") if "pipes" in line]
    principal, flute = lines  # from the walkboard inward
    assert "board 1, C and C♯ sides, large outside, front C2 to B2, 4 dumb" in principal
    assert principal.count("▀") == 6  # twelve keys, two a column
    assert "stopped/open" in flute
    assert flute.endswith("board 2, minor thirds")
    assert "▀" not in flute
