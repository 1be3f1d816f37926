"""What else sounds, in the organ's words: a released key, and one that sounds whatever is held."""

import pytest

from tests.work.practising import hall
from walkboard.listening.live.readings import LiveFlag, LiveReading
from walkboard.organ.model import PipeRef
from walkboard.work.live.company import SoundsOn, company_words
from walkboard.work.live.values import Task

ORGAN, _ = hall()
PIPE = PipeRef("swell.flute4", 25)
TASK = Task(PIPE, ORGAN.rank(PIPE.rank).key_of(25), "swell.flute4", 523.25)
F_SHARP = str(31)  # the pipe of F#4, of a rank that begins at C2


def alone(at_s: float) -> LiveReading:
    return LiveReading.none(at_s, -20.0, LiveFlag.OTHER_KEY, heard=F_SHARP)


def beside(at_s: float) -> LiveReading:
    return LiveReading(
        at_s, 523.25, 0.03, 0.0, 0.0, -20.0, 1.0, (LiveFlag.NEIGHBOUR,), heard=F_SHARP
    )


def said(readings: list[LiveReading]) -> str:
    seen = SoundsOn()
    for reading in readings:
        seen.see(reading)
    return company_words(ORGAN, TASK, readings[-1], seen.label)


def test_a_key_heard_alone_and_then_on_beside_the_pipe_is_a_cipher() -> None:
    first = [alone(0.1 * n) for n in range(10)]
    words = said(first + [beside(1.0 + 0.1 * n) for n in range(40)])
    assert words == "F#4 sounds all the time, though its key is up: stop the cipher first"


@pytest.mark.parametrize("beside_s", [0.5, 2.5])
def test_a_wrong_key_that_was_let_go_only_rings_on(beside_s: float) -> None:
    first = [alone(0.1 * n) for n in range(10)]
    words = said(first + [beside(1.0 + 0.1 * n) for n in range(round(10 * beside_s))])
    assert words == "F#4 sounds too"


def test_a_key_that_was_never_heard_alone_is_held_by_someone() -> None:
    assert said([beside(0.1 * n) for n in range(60)]) == "F#4 sounds too"


def test_the_same_slip_twice_is_no_cipher() -> None:
    slips = [alone(0.1 * n) for n in range(10)] + [beside(1.0 + 0.1 * n) for n in range(10)]
    again = [beside(9.0 + 0.1 * n) for n in range(10)]
    assert said(slips + again) == "F#4 sounds too"
