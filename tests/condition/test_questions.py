"""What is asked before a plan is made: readings that are not believed, pitch, air, couplers."""

from dataclasses import replace

import pytest

from tests.survey.organs import SMALL
from walkboard.condition.questions import Asked, input_questions
from walkboard.condition.state import Condition, DivisionState
from walkboard.listening.types import SoundInfo
from walkboard.organ.console import Coupler
from walkboard.organ.reading import read_organ
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.recognise.verdict import Heard

ORGAN = read_organ(SMALL)
FIRST, SECOND = ORGAN.divisions[0].id, "positive"
TWO = replace(
    ORGAN, divisions=(*ORGAN.divisions, replace(ORGAN.divisions[0], id=SECOND, name="Positive"))
)


def state(division: str, shift_cents: float, celsius: float = 18.0) -> DivisionState:
    return DivisionState(
        division, shift_cents, 0.2, celsius, celsius, 0.1, None, None, None, None, 40, 0
    )


def condition(*states: DivisionState) -> Condition:
    return Condition({one.division: one for one in states}, None)


def walk(heard: Heard | None) -> HeardWalk:
    info = SoundInfo(100.0, 48_000, 1, "FLAC")
    stop = ORGAN.stops[0].id
    return HeardWalk("w.flac", info, ORGAN.name, (stop,), 18.0, (), (), heard=heard)


def about(*args: object, **words: object) -> list[Asked]:
    return [one.about for one in input_questions(*args, **words)]  # type: ignore[arg-type]


def test_good_readings_raise_no_questions() -> None:
    good = walk(Heard("Heard: all is well."))
    near = condition(state(FIRST, 1.0), state(SECOND, 3.0))
    assert input_questions(TWO, [good, walk(None)], near, {"": 20.0}) == ()


def test_readings_not_believed_are_asked_about_with_their_own_question() -> None:
    doubted = walk(Heard("x", believed=False, question="Is a coupler on?"))
    (one,) = input_questions(ORGAN, [doubted])
    assert one.about is Asked.NOT_BELIEVED
    assert "w.flac: Is a coupler on?" in one.text
    assert "left out of the plan" in one.text


def test_a_stop_that_did_not_sound_is_asked_about() -> None:
    stop = ORGAN.stops[0]
    (one,) = input_questions(ORGAN, [walk(Heard("x", not_sounding=(stop.id,)))])
    assert one.about is Asked.NOT_SOUNDING
    assert stop.name in one.text


@pytest.mark.parametrize(("cents", "asked"), [(3.9, []), (4.1, [Asked.DIVISIONS_APART])])
def test_divisions_more_than_four_cents_apart_are_asked_about(
    cents: float, asked: list[Asked]
) -> None:
    assert about(TWO, [], condition(state(FIRST, 0.0), state(SECOND, cents))) == asked


def test_divisions_in_different_air_are_compared_as_they_sound() -> None:
    """A degree moves a flue by about 3 cents (600 / ln 2 / T): 2 °C apart are 6 cents apart."""
    (one,) = input_questions(TWO, [], condition(state(FIRST, 0.0, 18.0), state(SECOND, 0.0, 20.0)))
    assert one.about is Asked.DIVISIONS_APART
    assert one.divisions == (SECOND, FIRST)
    assert "5.9 cents above" in one.text


def test_divisions_without_a_coupler_may_differ() -> None:
    apart = condition(state(FIRST, 0.0), state(SECOND, 9.0))
    joined = replace(TWO, couplers=(Coupler("c", "c", FIRST, SECOND),))
    other = replace(TWO, couplers=(Coupler("c", "c", FIRST, "swell"),))
    assert about(joined, [], apart) == [Asked.DIVISIONS_APART]
    assert about(other, [], apart) == []


@pytest.mark.parametrize(("celsius", "asked"), [(25.9, []), (26.1, [Asked.EVENT_AIR])])
def test_an_event_more_than_eight_degrees_from_today_is_asked_about(
    celsius: float, asked: list[Asked]
) -> None:
    assert about(ORGAN, [], condition(state(FIRST, 0.0)), {"": celsius}) == asked


@pytest.mark.parametrize(
    ("shifts", "asked"),
    [
        ((-101.0, -103.0), [Asked.WHOLE_SHIFT]),
        ((16.0, 18.0), [Asked.WHOLE_SHIFT]),
        ((14.0, 16.0), []),
        ((-16.0, 16.0), [Asked.DIVISIONS_APART]),
    ],
)
def test_a_shift_of_every_division_is_asked_about(
    shifts: tuple[float, float], asked: list[Asked]
) -> None:
    assert about(TWO, [], condition(state(FIRST, shifts[0]), state(SECOND, shifts[1]))) == asked


def test_an_event_is_compared_with_the_thermometer_where_there_is_one() -> None:
    """It read 25 °C, the walk was noted at 18 °C: an event at 26 °C is near, at 16 °C is far."""
    warm = replace(state(FIRST, 0.0), thermometer_celsius=25.0)
    assert about(ORGAN, [], condition(warm), {"": 26.5}) == []
    (far,) = input_questions(ORGAN, [], condition(warm), {"": 16.0})
    assert "the plan is for 16 °C and the air now is 25 °C" in far.text


def test_a_division_named_has_its_own_event_air() -> None:
    both = condition(state(FIRST, 0.0), state(SECOND, 0.0))
    (one,) = input_questions(TWO, [], both, {SECOND: 30.0})
    assert one.divisions == (SECOND,)
    (other,) = input_questions(TWO, [], both, {"": 30.0, SECOND: 20.0})
    assert other.divisions == (FIRST,)


def test_a_whole_shift_names_the_pitch_to_write_down() -> None:
    """100 cents below 440 Hz are 415.3 Hz (equal temperament)."""
    (one,) = input_questions(ORGAN, [], condition(state(FIRST, -100.0)))
    assert "about 100 cents below the description" in one.text
    assert "A4 = 415.3 Hz" in one.text
    (one,) = input_questions(ORGAN, [], condition(state(FIRST, 100.0)))
    assert "above" in one.text
    assert "A4 = 466.2 Hz" in one.text


def test_of_several_divisions_the_middle_shift_is_named() -> None:
    three = replace(TWO, divisions=(*TWO.divisions, replace(TWO.divisions[0], id="echo")))
    shifts = condition(state(FIRST, 20.0), state(SECOND, 21.0), state("echo", 23.0))
    (one,) = input_questions(three, [], shifts)
    assert "about 21 cents above" in one.text


def test_a_division_without_flues_heard_is_not_asked_about() -> None:
    silent = replace(state(SECOND, 0.0), shift_cents=None, shift_sigma_cents=None)
    assert input_questions(TWO, [], condition(state(FIRST, 20.0), silent))[0].divisions == (FIRST,)
