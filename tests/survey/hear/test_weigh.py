"""The verdict on a walk from its holds and their lines, written down rather than heard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest

from tests.survey.organs import SMALL
from walkboard.listening.evidence.drones import Drone
from walkboard.listening.evidence.lines import HoldLines
from walkboard.listening.evidence.modulation import Modulation
from walkboard.listening.readings import Bound, Bounded, Either, Measured, Withheld
from walkboard.listening.types import Partial, ReadingFlag
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import Hold, Reading
from walkboard.survey.hear.odd_holds import beside_ciphers, jumped_holds
from walkboard.survey.hear.weigh import Weighed, apply, weigh
from walkboard.survey.recognise.evidence import Evidence
from walkboard.survey.recognise.hypotheses import hypotheses
from walkboard.survey.recognise.shift import Shifted

ORGAN = read_organ(SMALL)
PRINCIPAL, OCTAVE = "great.principal8", "great.octave4"
LOWEST = Key.parse("C4")
KEYS = [LOWEST.up(n) for n in range(8)]
NO_LINES = HoldLines(np.zeros(0), np.zeros(0), 3.0)


def pipe(rank: str, at: int) -> PipeRef:
    return PipeRef(rank, KEYS[at].semitone - Key.parse("C2").semitone + 1)


def due_hz(rank: str, at: int) -> float:
    return target_hz(ORGAN, pipe(rank, at), 18.0)


def read(rank: str, at: int, cents: float = 1.0, wander_cents: float = 0.1) -> Measured[PipeRef]:
    return Measured(
        pipe=pipe(rank, at),
        start_s=4.0 * at,
        end_s=4.0 * at + 3.0,
        hz=due_hz(rank, at) * ratio_of_cents(cents),
        sigma_cents=0.05,
        cents=cents,
        wander_cents=wander_cents,
        partials=tuple(Partial(n, -20.0 - 6.0 * n) for n in range(1, 5)),
    )


def unread(rank: str, at: int) -> Withheld[PipeRef]:
    silent = (ReadingFlag.SILENT,)
    return Withheld(pipe=pipe(rank, at), start_s=4.0 * at, end_s=4.0 * at + 3.0, flags=silent)


def holds_of(*readings: Sequence[Reading]) -> list[Hold]:
    return [
        Hold(at + 1, KEYS[at], at + 1, 4.0 * at, 4.0 * at + 3.5, tuple(found))
        for at, found in enumerate(readings)
    ]


def pair(one: Reading, other: Reading) -> tuple[Reading, ...]:
    return one, other


def plain(count: int = 8, cents: float = 1.0, wander_cents: float = 0.1) -> list[Hold]:
    return holds_of(*([read(PRINCIPAL, at, cents, wander_cents)] for at in range(count)))


def lines(at: int, hz: Sequence[float], db: Sequence[float], own: int, **more: object) -> Evidence:
    """A hold with these lines, the first `own` of them the stated pipe's."""
    explained = np.arange(len(hz)) < own
    found = Evidence(
        at,
        4.0 * at,
        4.0 * at + 3.5,
        (due_hz(PRINCIPAL, at),),
        HoldLines(np.array(hz, float), np.array(db, float), 3.0),
        explained,
        np.flatnonzero(~explained),
        None,
        None,
    )
    return replace(found, **more)  # type: ignore[arg-type]


def weighed(
    holds: Sequence[Hold],
    *evidence: Evidence,
    drawn: Sequence[str] = (PRINCIPAL,),
    shift_cents: float = 0.0,
    drones: Sequence[Drone] = (),
) -> Weighed:
    return weigh(
        ORGAN,
        drawn,
        KEYS,
        18.0,
        holds=holds,
        evidence=evidence,
        shifted=Shifted(0, shift_cents, False),
        drones=drones,
    )


def test_a_clean_walk_is_believed() -> None:
    found = weighed(plain(), *(lines(at, [due_hz(PRINCIPAL, at)], [-20.0], 1) for at in range(8)))
    assert found.heard.is_walk
    assert found.heard.believed
    assert (found.withheld, found.marked, found.unnamed) == ({}, None, False)


# The shift of the whole


def test_the_shift_is_the_median_of_three_readings_or_the_rough_one() -> None:
    cents = [1.0, 2.0, 9.0]
    holds = holds_of(*([read(PRINCIPAL, at, c)] for at, c in enumerate(cents)))
    assert weighed(holds, shift_cents=5.0).heard.shift_cents == 2.0
    assert weighed(holds[:2], shift_cents=5.0).heard.shift_cents == 5.0


@pytest.mark.parametrize(("cents", "is_far"), [(39.0, False), (40.0, True), (-41.0, True)])
def test_an_organ_13_degrees_off_is_asked_about(cents: float, is_far: bool) -> None:
    found = weighed(plain(cents=cents), shift_cents=cents)
    assert found.heard.believed is not is_far
    assert set(found.withheld.values()) == ({ReadingFlag.FAR} if is_far else set())


# A microphone that was carried


@pytest.mark.parametrize(
    ("wander_cents", "count", "moved"), [(0.9, 6, 0.9), (0.7, 6, None), (0.9, 5, None)]
)
def test_pitch_that_moves_in_every_hold_is_a_microphone_that_moves(
    wander_cents: float, count: int, moved: float | None
) -> None:
    found = weighed(plain(count, wander_cents=wander_cents))
    assert found.moved_cents == moved
    assert set(found.withheld.values()) == (set() if moved is None else {ReadingFlag.UNSTEADY})
    assert found.heard.believed is (moved is None)


def test_low_pipes_say_nothing_of_the_microphone() -> None:
    low = [
        replace(hold, readings=(replace(read(PRINCIPAL, 0, 1.0, 2.0), hz=149.0),))
        for hold in plain()
    ]
    assert weighed(low).moved_cents is None


# A tremulant


def shaking(count: int = 6, more: Mapping[str, float] = MappingProxyType({})) -> list[Evidence]:
    usual: dict[str, float] = {
        "rate_hz": 5.5, "depth_cents": 4.0, "depth_db": 0.8, "stands_out": 20.0,
        "level_stands_out": 12.0,
    }  # fmt: skip
    return [
        lines(
            at, [due_hz(PRINCIPAL, at)], [-20.0], 1, modulation=Modulation(**(usual | dict(more)))
        )
        for at in range(count)
    ]


def test_a_tremulant_marks_every_reading_and_widens_it() -> None:
    """One hold shows another rate, the wind's. What the last period leaves: 4/(2π·5.5·3) cents."""
    odd = replace(shaking()[0], modulation=Modulation(9.0, 4.0, 0.8, 20.0, 12.0))
    holds = plain()
    found = weighed(holds, odd, *shaking()[1:])
    assert found.heard.tremulant is not None
    assert found.heard.tremulant.rate_hz == pytest.approx(5.5)
    assert (found.heard.tremulant.depth_cents, found.heard.tremulant.depth_db) == (4.0, 0.8)
    assert not found.heard.believed
    for hold in apply(found, holds):
        (reading,) = hold.readings
        assert isinstance(reading, Measured)
        assert reading.flags == (ReadingFlag.TREMULANT,)
        left = 4.0 / (2.0 * np.pi * 5.5 * 3.0)
        assert reading.sigma_cents == pytest.approx(np.hypot(0.05, left))


@pytest.mark.parametrize(
    ("more", "is_one"),
    [
        ({"stands_out": 8.0}, True),
        ({"stands_out": 7.9}, False),
        ({"level_stands_out": 7.9, "depth_cents": 1.9}, False),  # pitch alone: shaking wind
        ({"depth_db": 0.09, "depth_cents": 1.9}, False),
        # Seen red with a vibrato that leaves the level alone (FluidSynth, modulation wheel 12 of
        # 127): its side bands were taken for a second rank.
        ({"level_stands_out": 2.0, "depth_db": 0.0, "depth_cents": 3.65}, True),
        ({"depth_cents": 0.29}, False),
    ],
)
def test_what_hardly_moves_is_no_tremulant(more: dict[str, float], is_one: bool) -> None:
    assert (weighed(plain(), *shaking(6, more)).heard.tremulant is not None) is is_one


def test_three_holds_or_scattered_rates_are_no_tremulant() -> None:
    assert weighed(plain(), *shaking(3)).heard.tremulant is None
    rates = (4.0, 4.6, 5.2, 5.8, 6.4, 7.0)
    scattered = [
        replace(one, modulation=Modulation(rate, 4.0, 0.8, 20.0, 12.0))
        for one, rate in zip(shaking(), rates, strict=True)
    ]
    assert weighed(plain(), *scattered).heard.tremulant is None


# A stated stop that does not sound


def test_a_stated_stop_of_which_nothing_is_found_is_named() -> None:
    both = (PRINCIPAL, OCTAVE)
    holds = holds_of(*(pair(read(PRINCIPAL, at), unread(OCTAVE, at)) for at in range(8)))
    assert weighed(holds, drawn=both).heard.not_sounding == (OCTAVE,)
    assert weighed(holds[:5], drawn=both).heard.not_sounding == ()
    neither = holds_of(*(pair(unread(PRINCIPAL, at), unread(OCTAVE, at)) for at in range(8)))
    assert weighed(neither, drawn=both).heard.not_sounding == ()


def test_a_stop_that_was_located_but_not_named_sounds() -> None:
    def located(at: int) -> Bounded[PipeRef]:
        places = Either((due_hz(OCTAVE, at), due_hz(OCTAVE, at) + 1.0), (0.1, 0.1))
        return Bounded(
            pipe=pipe(OCTAVE, at), start_s=4.0 * at, end_s=4.0 * at + 3.0,
            bound=Bound(due_hz(OCTAVE, at), 3.0, places),
        )  # fmt: skip

    holds = holds_of(*(pair(read(PRINCIPAL, at), located(at)) for at in range(8)))
    assert weighed(holds, drawn=(PRINCIPAL, OCTAVE)).heard.not_sounding == ()


# A second key, and ciphers


def test_another_key_that_sounds_is_found_where_the_organ_stands() -> None:
    """The whole organ is 30 cents flat, and so is the key a fifth above that was held as well."""
    ratio = ratio_of_cents(-30.0)
    own = due_hz(PRINCIPAL, 0) * ratio
    other = due_hz(PRINCIPAL, 7) * ratio
    hz = [own, 2 * own, other, 2 * other, 4 * other]
    two = lines(0, hz, [-20.0, -26.0, -24.0, -30.0, -36.0], 2, stated_hz=(own,))
    one = lines(1, [due_hz(PRINCIPAL, 1) * ratio], [-20.0], 1)
    found = weighed(plain(cents=-30.0), two, one, shift_cents=-30.0)
    assert found.withheld == {1: ReadingFlag.OTHER}
    assert found.heard.believed  # the other holds are as good as ever
    assert apply(found, plain())[0].readings[0].flags == (ReadingFlag.OTHER,)


def cipher(hz: float, numbers: Sequence[int] = (1, 2, 3, 4)) -> Drone:
    return Drone(hz, tuple(n * hz for n in numbers), (-40.0,) * len(numbers), 0.0, 40.0)


def test_a_cipher_is_the_walked_stops_pipe_first() -> None:
    """C5 of the 8′ and C4 of the 4′ are one pitch; the organ stands 20 cents sharp."""
    hz = target_hz(ORGAN, PipeRef(PRINCIPAL, 37), 18.0) * ratio_of_cents(20.0)
    for drawn, first in ((PRINCIPAL, f"{PRINCIPAL}:37"), (OCTAVE, f"{OCTAVE}:25")):
        (found,) = weighed(
            plain(), drawn=(drawn,), shift_cents=20.0, drones=[cipher(hz)]
        ).heard.cipher
        assert found.pipe == first
        assert {found.pipe, *found.or_pipes} >= {f"{PRINCIPAL}:37", f"{OCTAVE}:25"}
    between = cipher(hz * ratio_of_cents(50.0))
    (found,) = weighed(plain(), shift_cents=20.0, drones=[between]).heard.cipher
    assert found.pipe is None


def test_a_hold_with_a_cipher_beside_its_partial_has_no_value() -> None:
    """Within 30 Hz of the second partial and 15 dB below it; or far softer; or far away."""
    hz = due_hz(PRINCIPAL, 0)
    own = lines(0, [hz, 2 * hz, 3 * hz], [-20.0, -25.0, -70.0], 3)
    holds = plain(1)

    def found(line_hz: float, level_db: float, start_s: float = 0.0) -> dict[int, ReadingFlag]:
        drone = Drone(line_hz, (line_hz,), (level_db,), start_s, 40.0)
        return beside_ciphers(holds, [own], [drone])

    assert found(2 * hz + 20.0, -40.0) == {1: ReadingFlag.OTHER}
    assert found(2 * hz - 20.0, -40.0) == {1: ReadingFlag.OTHER}
    assert found(2 * hz + 40.0, -40.0) == {}
    assert found(2 * hz + 20.0, -60.0) == {}
    assert found(3 * hz + 20.0, -60.0) == {}  # a partial too faint to be measured
    assert found(2 * hz + 20.0, -40.0, start_s=5.0) == {}  # it began later
    # only the twelve lowest partials are measured so closely
    high = lines(0, [hz, 14 * hz], [-20.0, -25.0], 2)
    drone = Drone(14 * hz + 10.0, (14 * hz + 10.0,), (-30.0,), 0.0, 40.0)
    assert beside_ciphers(holds, [high], [drone]) == {}


def test_a_hold_whose_pitch_jumps_in_a_calm_walk_has_lost_samples() -> None:
    calm = plain(7, wander_cents=0.05)
    jumped = holds_of(*(h.readings for h in calm), [read(PRINCIPAL, 7, wander_cents=0.7)])
    assert jumped_holds(jumped) == {8: ReadingFlag.UNSTEADY}
    assert jumped_holds(jumped[3:]) == {}  # five holds do not show what is usual
    wild = plain(7, wander_cents=0.2)
    rough = holds_of(*(h.readings for h in wild), [read(PRINCIPAL, 7, wander_cents=0.7)])
    assert jumped_holds(rough) == {}  # not six times the usual
    known = holds_of(
        *(h.readings for h in calm),
        [replace(read(PRINCIPAL, 7, wander_cents=0.7), flags=(ReadingFlag.GAP,))],
    )
    assert jumped_holds(known) == {}  # it is known already


# What else may sound


def test_a_stated_stops_octaves_and_itself_again_are_thought_of() -> None:
    """An octave coupler's pipes, an octave away in every temperament; none beyond the compass."""
    found = {one.name: one for one in hypotheses(ORGAN, [OCTAVE], KEYS, 18.0)}
    up = found[f"{OCTAVE} +12"]
    assert up.semitones == 12
    assert up.due_hz[0] == pytest.approx(2.0 * due_hz(OCTAVE, 0))
    # the principal an octave below has the pitch of the sub-octave coupler: one hypothesis
    below = found[PRINCIPAL]
    assert (below.semitones, below.stops) == (-12, (PRINCIPAL, "great.trumpet8"))
    assert below.due_hz[0] == pytest.approx(due_hz(PRINCIPAL, 0))
    again = found[f"{OCTAVE} again"]
    assert (again.stops, again.semitones) == ((), 0)
    assert again.due_hz == tuple(due_hz(OCTAVE, at) for at in range(8))
    top = [Key.parse("C2").up(53)]
    assert f"{OCTAVE} +12" not in {one.name for one in hypotheses(ORGAN, [OCTAVE], top, 18.0)}
