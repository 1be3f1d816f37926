"""Drawings say their state by shape, and hold nothing that could be markup."""

from __future__ import annotations

import re

from walkboard.desk.drawing.visit import curve_drawing, key_strip, keyboard_drawing, runs_words
from walkboard.desk.text.preferences import Preferences
from walkboard.organ.model import Division
from walkboard.planning.plan import CurvePoint
from walkboard.scales.key_names import Names
from walkboard.scales.keys import Key
from walkboard.survey.plan.walk_plan import runs_of
from walkboard.work.heard_keys import Enough, KeyHeard


def test_heard_partly_and_not_heard_differ_in_shape() -> None:
    keys = [KeyHeard(Key(48), Enough.YES), KeyHeard(Key(49), Enough.PARTLY),
            KeyHeard(Key(51), Enough.NO)]  # fmt: skip
    drawn = str(key_strip(keys, '<b> & "walk"', Preferences().key))
    (discs,) = re.findall(r'class="solid" d="([^"]*)"', drawn)
    assert discs.count("M") == 1
    assert drawn.count('class="hollow"') == 1
    assert drawn.count('class="call"') == 1
    assert re.findall("<title>(.*?)</title>", drawn) == ["C♯3", "D♯3"]  # those to hold again
    assert 'aria-label="&lt;b&gt; &amp; &quot;walk&quot;"' in drawn
    assert str(key_strip([], "", Preferences().key)) == ""


def test_keys_are_named_as_the_browser_chose() -> None:
    runs = runs_of([Key(48), Key(49), Key(50), Key(60)])
    assert runs_words(runs, Preferences()) == "C3–D3; C4"
    assert runs_words(runs, Preferences(names=Names.HELMHOLTZ)) == "c–d; c′"


def test_a_keyboard_has_every_key_once_and_the_black_ones_on_top() -> None:
    drawn = str(keyboard_drawing(Division("great", "Great", 54, Key.parse("C2")), "Great"))
    assert drawn.count("data-key=") == 54
    assert drawn.count('class="black"') == 22
    assert drawn.rindex('class="white"') < drawn.index('class="black"')


def test_the_plan_lies_on_its_curve() -> None:
    points = (CurvePoint(0.0, 8.0), CurvePoint(60.0, 2.0))
    words = {"title": "t", "minutes": "m"}
    drawn = str(curve_drawing(points, points[1], 8.0, longest=120.0, words=words))
    across, down = 40.0 + 0.5 * 658.0, 210.0 - 0.25 * 198.0
    assert f'cx="{across:.1f}" cy="{down:.1f}"' in drawn
    assert f"{across:.1f},{down:.1f} 698.0,{down:.1f}" in drawn  # nothing is left to gain after it
