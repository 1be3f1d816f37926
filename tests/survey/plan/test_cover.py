"""The cover of least time, against every other cover and against HiGHS on the model key by key."""

from dataclasses import replace
from itertools import combinations, product
from typing import Any

import highspy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef, Plays, Stop
from walkboard.organ.reading import read_organ
from walkboard.scales.keys import Key
from walkboard.survey.plan.cover import cover, least_minutes
from walkboard.survey.plan.registrations import Registration, registrations
from walkboard.survey.plan.rules import CautiousRules
from walkboard.survey.plan.walk_plan import Pace

VILLAGE = read_organ(examples.village())
LOWEST = Key.parse("C2")
PACE = Pace()


def organ_of(stops: list[tuple[str, int]]) -> Organ:
    """An organ of a keyboard of three keys; each stop plays a rank from one of its pipes on."""
    top = LOWEST.up(2)
    return replace(
        VILLAGE,
        stops=tuple(
            Stop(f"s{n}", f"s{n}", "great", (Plays(rank, LOWEST, top, first),))
            for n, (rank, first) in enumerate(stops)
        ),
    )


@st.composite
def cases(draw: st.DrawFn) -> tuple[Organ, list[Registration]]:
    stops = draw(
        st.lists(
            st.tuples(st.sampled_from(["a", "b", "c"]), st.integers(1, 2)),
            min_size=1,
            max_size=4,
            unique=True,
        )
    )
    organ = organ_of(stops)
    names = [stop.id for stop in organ.stops]
    keys = [LOWEST.up(n) for n in range(3)]
    drawn = draw(st.lists(st.sets(st.sampled_from(names), min_size=1), min_size=1, max_size=4))
    choices = []
    for stops_drawn in drawn:
        held = frozenset(draw(st.sets(st.sampled_from(keys), min_size=1)))
        alone = all(len(organ.sounding(tuple(stops_drawn), key)) == 1 for key in held)
        choices.append(Registration("great", tuple(sorted(stops_drawn)), held, alone))
    return organ, choices


def minutes_of(choices: list[Registration], holds: list[tuple[int, Key]], pace: Pace) -> float:
    """What holds with registrations of these numbers take."""
    keys = (pace.of_one_pipe if choices[n].alone else pace for n, _ in holds)
    return pace.minutes(len({n for n, _ in holds}), 0) + sum(p.minutes(0, 1) for p in keys)


def cheapest(organ: Organ, choices: list[Registration], pace: Pace) -> float:
    """By trying every set of holds."""
    holds = [(n, key) for n, choice in enumerate(choices) for key in sorted(choice.keys)]
    reads = [frozenset(organ.sounding(choices[n].stops, key)) for n, key in holds]
    wanted = frozenset().union(*reads)
    best = float("inf")
    for size in range(len(holds) + 1):
        for taken in combinations(range(len(holds)), size):
            if frozenset().union(*(reads[i] for i in taken)) == wanted:
                best = min(best, minutes_of(choices, [holds[i] for i in taken], pace))
    return best


@settings(max_examples=60)
@given(cases(), st.sampled_from([0.0, 0.05, 0.3, 2.0]), st.sampled_from([None, 2.0, 0.5]))
def test_no_other_cover_takes_less(case, setting_minutes, alone_s):
    organ, choices = case
    pace = Pace(setting_minutes=setting_minutes, alone_s=alone_s)
    wanted = frozenset(p for c in choices for k in c.keys for p in organ.sounding(c.stops, k))
    found = cover(organ, choices, wanted, pace)
    holds = [(n, key) for n, keys in found.held.items() for key in keys]
    minutes = minutes_of(choices, holds, pace)
    least = cheapest(organ, choices, pace)
    assert_allclose(minutes, least, rtol=1e-5)
    assert found.bound_minutes <= least + 1e-9
    assert least_minutes(organ, choices, wanted, pace) <= least + 1e-6
    read = {
        pipe
        for n, keys in found.held.items()
        for key in keys
        for pipe in organ.sounding(choices[n].stops, key)
    }
    assert read == wanted
    assert all(set(keys) <= choices[n].keys for n, keys in found.held.items())


def by_highs(organ: Organ, choices: list[Registration], wanted: set[PipeRef], pace: Pace) -> float:
    """The model key by key, nothing gathered, given to HiGHS directly."""
    highs: Any = highspy.Highs()  # type: ignore[no-untyped-call]
    highs.setOptionValue("output_flag", False)
    drawn = [highs.addBinary(obj=pace.setting_minutes) for _ in choices]
    readers: dict[PipeRef, list[Any]] = {pipe: [] for pipe in wanted}
    for n, choice in enumerate(choices):
        for key in choice.keys:
            pipes = set(organ.sounding(choice.stops, key)) & wanted
            if pipes:
                held = highs.addBinary(obj=pace.key_minutes)
                highs.addConstr(held <= drawn[n])
                for pipe in pipes:
                    readers[pipe].append(held)
    for columns in readers.values():
        highs.addConstr(sum(columns) >= 1)
    highs.run()
    assert highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return float(highs.getObjectiveValue())


@pytest.mark.parametrize(
    ("example", "divisions"),
    [("village", ["great", "swell"]), ("village", ["pedal"]), ("hall", ["solo"])],
)
def test_highs_on_the_model_key_by_key_finds_the_same_minutes(example, divisions):
    organ = read_organ(getattr(examples, example)())
    choices: list[Registration] = []
    for name in divisions:
        division = organ.division(name)
        keys = [division.lowest.up(n) for n in range(division.keys)]
        stops = [stop.id for stop in organ.stops if stop.division == name]
        choices += registrations(organ, name, stops, keys, CautiousRules()).found
    wanted = {p for c in choices for k in c.keys for p in organ.sounding(c.stops, k)}
    found = cover(organ, choices, frozenset(wanted), PACE)
    minutes = PACE.minutes(len(found.held), sum(map(len, found.held.values())))
    assert_allclose(minutes, by_highs(organ, choices, wanted, PACE), rtol=1e-4)
    assert_allclose(found.bound_minutes, minutes, rtol=1e-4)


def test_an_extended_rank_is_read_in_fewer_holds_than_it_has_pipes():
    # 42 pipes at 16′ and 8′ under 30 keys: the bottom 12 keys give 24 pipes, and the upper 18 the
    # rest of the 16′ and, an octave up, the 8′; the keys F♯3 to F4 read what is left. By hand:
    # pipes 1–12 want keys 1–12 on the 16′, which read 13–24 on the 8′; pipes 31–42 want keys 19–30
    # on the 8′, which read 19–30 on the 16′. That is all 42 in 24 holds, and no fewer can do.
    choices = [
        Registration(
            "pedal",
            ("pedal.bourdon16", "pedal.flute8"),
            frozenset(LOWEST.up(n) for n in range(30)),
        )
    ]
    wanted = frozenset(p for p in VILLAGE.pipes() if p.rank == "pedal.bourdon16")
    held = cover(VILLAGE, choices, wanted, PACE).held[0]
    assert len(held) == 24


def test_keys_alike_are_not_mixed_up_between_octaves():
    organ = organ_of([("a", 1), ("b", 1)])
    keys = [LOWEST.up(n) for n in range(3)]
    choices = [
        Registration("great", ("s0", "s1"), frozenset(keys[:2])),
        Registration("great", ("s0",), frozenset(keys)),
        Registration("great", ("s1",), frozenset(keys[2:])),
    ]
    wanted = frozenset(p for k, n in product(keys, ("s0", "s1")) for p in organ.sounding([n], k))
    found = cover(organ, choices, wanted, PACE)
    assert found.held == {0: tuple(keys[:2]), 1: (keys[2],), 2: (keys[2],)}
