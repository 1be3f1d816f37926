"""The cautious rules: what the issue's registrations are, and what is never drawn together.

The limits are our chosen, to be measured; what they must allow are the registrations that were
separated by a prototype (16+8+4, 8+4+2⅔+2, a cornet, a mixture), and what they must refuse is
common practice, no source: celestes, unisons, a loud reed over a soft flute.
"""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.survey.organs import SMALL
from walkboard.organ.model import Family, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.survey.plan.rules import USUAL_DB, CautiousRules, Voice, voices_of

RULES = CautiousRules()


def voice(
    hz: float, family: Family = Family.OPEN, *, celeste: bool = False, rank: str = ""
) -> Voice:
    return Voice(PipeRef(rank or f"{family}{hz}", 1), hz, family, USUAL_DB[family], celeste)


@pytest.mark.parametrize(
    "multiples",
    [(0.5, 1, 2), (1, 2, 3, 4), (1, 2, 3, 4, 5), (4, 6, 8, 12), (1, 2), (3, 5)],
    ids=["16+8+4", "8+4+2⅔+2", "cornet", "15-19-22-26", "8+4", "sesquialtera"],
)
def test_what_a_prototype_separated_may_be_drawn_at_tenor_c(multiples):
    assert RULES.why_not([voice(130.81 / 2 * m) for m in multiples]) is None


@pytest.mark.parametrize(
    ("voices", "why"),
    [
        ([voice(261.6), voice(262.0, rank="b")], "one pitch"),
        ([voice(261.6), voice(262.0, Family.CHIMNEY)], "one pitch"),
        ([voice(440.0), voice(440.3, Family.REED)], "one pitch"),
        (
            [voice(220.0), voice(220.1, Family.STOPPED), voice(220.2, Family.OPEN, rank="b")],
            "of one pitch",
        ),
        ([voice(261.6), voice(264.1, celeste=True)], "celeste"),
        ([voice(261.6), voice(784.0, celeste=True)], "celeste"),
        ([voice(261.6, Family.REED), voice(784.9, Family.STOPPED)], "loud pipe over a soft"),
        ([voice(261.6), voice(523.2, Family.STOPPED)], "hidden"),
        ([voice(100.0 * m) for m in (2, 3, 5, 7, 11, 13, 17)], "more than 6"),
        ([voice(hz) for hz in (1000.0, 1300.0, 1500.0, 1700.0, 1900.0)], "above 1000 Hz"),
        ([voice(hz) for hz in (2000.0, 2300.0, 2700.0, 3100.0)], "above 2000 Hz"),
        ([voice(100.0 * m) for m in (1, 2, 4, 8)], "hidden under 3"),
    ],
)
def test_what_is_never_drawn_together(voices, why):
    assert why in (RULES.why_not(voices) or "")


@pytest.mark.parametrize(("hz", "family"), [(523.3, Family.STOPPED), (130.8, Family.REED)])
def test_unisons_that_their_kinds_tell_apart_may_be_drawn(hz, family):
    assert RULES.why_not([voice(hz), voice(hz * 1.001, family)]) is None


def loud(hz: float, usual_db: float) -> Voice:
    return Voice(PipeRef(f"{hz}", 1), hz, Family.OPEN, usual_db)


@pytest.mark.parametrize(
    ("low", "high", "why"),
    [
        (loud(261.6, 12.0), loud(784.9, 0.0), "hidden"),  # its twelfth, 12 dB softer
        (loud(261.6, 4.0), loud(784.9, 0.0), None),
        (loud(261.6, 4.5), loud(784.9, 0.0), "hidden"),
        (loud(261.6, 13.0), loud(700.0, 0.0), "loud pipe over a soft"),  # between its partials
        (loud(261.6, 12.0), loud(700.0, 0.0), None),
        (loud(261.6, 8.0), loud(523.2 * 2.0 ** (25.0 / 1200.0), 0.0), "hidden"),
        (loud(261.6, 8.0), loud(523.2 * 2.0 ** (35.0 / 1200.0), 0.0), None),
    ],
)
def test_how_much_louder_a_pipe_may_be(low: Voice, high: Voice, why: str | None) -> None:
    found = RULES.why_not([low, high])
    assert found is None if why is None else why in (found or "")


def test_twice_the_wind_is_six_decibels() -> None:
    """Common practice, no source: sound pressure goes with the wind's."""
    organ = read_organ(SMALL)
    ranks = tuple(replace(rank, wind_mm=180.0) for rank in organ.ranks)
    (usual,), (windy,) = (
        voices_of(one, [PipeRef("great.principal8", 5)])
        for one in (organ, replace(organ, ranks=ranks))
    )
    assert windy.usual_db - usual.usual_db == pytest.approx(6.02, abs=0.01)


def test_a_wish_lifts_the_rules_of_pairs_for_two_ranks_only():
    pair = [voice(261.6, rank="gamba"), voice(264.1, celeste=True, rank="celeste")]
    wished = CautiousRules(wished=frozenset({frozenset({"gamba", "celeste"})}))
    assert wished.why_not(pair) is None
    assert wished.why_not([*pair, voice(523.2, rank="octave")]) is not None


@given(
    st.lists(
        st.tuples(st.floats(30.0, 4000.0), st.sampled_from(list(Family)), st.booleans()),
        min_size=1,
        max_size=7,
        unique_by=lambda v: v[0],
    )
)
def test_what_may_not_sound_together_may_not_with_more(drawn):
    voices = [voice(hz, family, celeste=celeste) for hz, family, celeste in drawn]
    if RULES.why_not(voices[:-1]) is not None:
        assert RULES.why_not(voices) is not None
