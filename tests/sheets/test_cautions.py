import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from walkboard.organ.model import Division, Family, Rank, TunedBy
from walkboard.scales.keys import Key
from walkboard.sheets.cautions import CAUTIONS, DEFERENCE, LIMITS, Topic, cautions_for

C2 = Key.parse("C2")
GREAT = Division("great", "Great", 61, C2)
SWELL = Division("swell", "Swell", 61, C2, enclosed=True)
OCTAVE = Rank(
    id="great.octave4",
    division="great",
    name="Octave",
    chest="great",
    family=Family.OPEN,
    tuned_by=TunedBy.SHADE,
    from_key=C2,
    pipes=61,
    multiples=((C2, Fraction(2)),),
)
ALWAYS = {Topic.FOOTING, Topic.LADDERS, Topic.ALONE, Topic.POWER, Topic.ASBESTOS, Topic.NOISE}


def topics(*ranks: Rank, divisions: tuple[Division, ...] = (GREAT,)) -> set[Topic]:
    return {caution.topic for caution in cautions_for(ranks, divisions)}


def test_any_work_inside_the_case_has_its_cautions():
    assert topics() == ALWAYS
    assert topics(OCTAVE) == ALWAYS


# Common practice, no source: which work raises which caution.
@pytest.mark.parametrize(
    ("change", "raised"),
    [
        ({"tuned_by": TunedBy.SLIDE}, {Topic.LEAD}),
        ({"tuned_by": TunedBy.CONE}, {Topic.LEAD, Topic.CONING}),
        ({"tuned_by": TunedBy.STOPPER}, set()),
        ({"family": Family.REED, "tuned_by": TunedBy.SPRING}, {Topic.LEAD}),
        ({"multiples": ((C2, Fraction(1)),)}, {Topic.TALL_PIPES}),
        ({"multiples": ((C2, Fraction(1, 2)),)}, {Topic.TALL_PIPES}),
        ({"multiples": ((C2, Fraction(1)),), "from_key": Key.parse("C3")}, set()),
        ({"historic": True}, {Topic.HERITAGE}),
    ],
)
def test_a_rank_raises_the_cautions_of_its_pipes(change, raised):
    assert topics(replace(OCTAVE, **change)) == ALWAYS | raised


def test_a_swell_box_has_shutters():
    assert topics(OCTAVE, divisions=(GREAT, SWELL)) == ALWAYS | {Topic.SHUTTERS}


def test_each_caution_comes_once_and_in_order():
    slide = replace(OCTAVE, tuned_by=TunedBy.SLIDE)
    found = [c.topic for c in cautions_for([slide, slide], [GREAT])]
    assert found == [t for t in Topic if t in ALWAYS | {Topic.LEAD}]


def test_every_topic_has_one_caution_and_every_caution_a_source():
    assert list(CAUTIONS) == list(Topic)
    for caution in CAUTIONS.values():
        assert caution.source
        assert 60 < len(caution.text) < 420  # it must fit a sheet that is read on a ladder


# Laws and regulations, and the bodies that issue them.
OFFICIAL = ("HSE ", "HSL/", "29 CFR", "Regulations", "Rules 2015", "Health and Safety Executive")


def test_a_printed_source_is_an_official_body_or_common_practice():
    for caution in CAUTIONS.values():
        for source in caution.source.split("; "):
            is_practice = source.endswith("common practice, no source")
            assert is_practice or any(body in source for body in OFFICIAL), source


def test_every_figure_has_unit_and_source():
    for limit in LIMITS.values():
        assert limit.value > 0.0
        assert limit.unit
        assert limit.source


# Source: HSE INDG402: one out for four up and 75° are the same rule.
def test_the_two_ways_of_setting_a_ladder_agree():
    angle = math.degrees(math.atan(4.0))
    np.testing.assert_allclose(LIMITS["ladder.angle"].value, angle, atol=1.0)
    assert "75°, 1 out for 4 up" in CAUTIONS[Topic.LADDERS].text


# The figures are printed from the table, not typed twice.
@pytest.mark.parametrize(
    ("topic", "figures"),
    [
        (Topic.LADDERS, ["30 min"]),
        (Topic.NOISE, ["85 dB(A)", "87 dB(A)"]),
        (Topic.LEAD, ["0.15 mg/m³", "0.05 mg/m³"]),
    ],
)
def test_cautions_carry_their_figures(topic, figures):
    for figure in figures:
        assert figure in CAUTIONS[topic].text


def test_the_sheet_defers_to_local_rules_and_licensed_people():
    assert "Local rules" in DEFERENCE
    assert "licensed" in DEFERENCE
