"""Which keys of a walk must be held again."""

from __future__ import annotations

from dataclasses import replace

from tests.readings import measured
from tests.survey.organs import SMALL
from tests.work.chapel import heard_rank
from walkboard.listening.readings import withheld
from walkboard.listening.types import ReadingFlag
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.work.heard_keys import Enough, keys_heard

ORGAN = read_organ(SMALL)
PRINCIPAL, OCTAVE = "great.principal8", "great.octave4"


def walk(*cents: float) -> HeardWalk:
    return heard_rank(ORGAN, PRINCIPAL, list(cents))


def states(*walks: HeardWalk, drawn: tuple[str, ...] = (PRINCIPAL,)) -> dict[str, str]:
    return {k.key.name: k.enough.value for k in keys_heard(ORGAN, walks, drawn)}


def without_value(heard: HeardWalk, n: int) -> HeardWalk:
    holds = list(heard.holds)
    (reading,) = holds[n].readings
    silent = withheld(reading, ReadingFlag.SILENT)
    holds[n] = replace(holds[n], readings=(silent,))
    return replace(heard, holds=tuple(holds))


def test_a_key_whose_pipes_all_have_a_value_is_enough() -> None:
    assert states(walk(0.0, 1.0, 9.0)) == {"C2": "yes", "C#2": "yes", "D2": "yes"}


def test_a_key_passed_over_or_without_a_value_is_not() -> None:
    heard = replace(without_value(walk(0.0, 1.0, 2.0), 1), silent_keys=(Key.parse("D#2"),))
    assert states(heard) == {"C2": "yes", "C#2": "no", "D2": "yes", "D#2": "no"}


def test_of_two_stops_one_read_is_a_part() -> None:
    both = replace(walk(0.0), drawn=(OCTAVE, PRINCIPAL))
    (key,) = keys_heard(ORGAN, [both], (PRINCIPAL, OCTAVE))
    assert key.enough is Enough.PARTLY
    assert key.pipes == (PipeRef(OCTAVE, 1),)


def test_a_doubtful_value_is_a_part() -> None:
    heard = walk(0.0)
    (hold,) = heard.holds
    doubtful = replace(measured(hold.readings[0]), sigma_cents=2.0)
    assert states(replace(heard, holds=(replace(hold, readings=(doubtful,)),))) == {"C2": "partly"}


def test_holding_it_again_makes_it_good() -> None:
    bad = without_value(walk(0.0, 1.0), 0)
    assert states(bad)["C2"] == "no"
    assert states(bad, walk(0.0))["C2"] == "yes"
    other = replace(walk(0.0), drawn=(OCTAVE,))
    assert states(bad, other)["C2"] == "no"
