"""The drawing of an organ: where its pipes are."""

from __future__ import annotations

from tests.organ.test_picture import BUILT
from walkboard.desk.drawing.organ import organ_drawing
from walkboard.desk.text.preferences import Preferences


def test_front_parts_and_boards_are_drawn() -> None:
    drawn = str(organ_drawing(BUILT, Preferences()))
    assert drawn.count('class="front"') == 1
    assert drawn.count('class="part"') == 1  # where the Flute turns open
    assert drawn.index("board 1") < drawn.index("board 2")
    assert "C and C♯ sides" in drawn
    assert "minor thirds" in drawn
