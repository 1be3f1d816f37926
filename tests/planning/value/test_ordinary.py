"""Ordinary use: which keys are played, and which stops are drawn."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import DIVISIONS, HEAD, a_rank, small_organ
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.ordinary import (
    LIMITS,
    Purpose,
    drawn_use,
    key_use,
    played_range,
)

ORGAN = small_organ()
LAYOUT = Layout.of(ORGAN)
PEDAL = read_organ(
    """
format = 1
name = "Two keyboards"
temperament = "equal"
[pitch]
a4_hz = 440.0
at_celsius = 18.0
[[division]]
id = "great"
name = "Great"
keys = 61
[[division]]
id = "pedal"
name = "Pedal"
keys = 32
[[rank]]
id = "great.principal"
division = "great"
name = "Principal"
family = "open"
feet = "8"
pipes = 61
tuned_by = "slide"
[[rank]]
id = "pedal.subbass"
division = "pedal"
name = "Subbass"
family = "stopped"
feet = "16"
pipes = 32
tuned_by = "stopper"
"""
)


def use_at(rank: str, keys: list[int], purpose: Purpose = Purpose.HYMNS) -> np.ndarray:
    places = [LAYOUT.place(PipeRef(rank, key - 35)) for key in keys]
    found: np.ndarray = key_use(LAYOUT, purpose)[places]
    return found


def test_hymns_use_the_middle_of_the_keyboard():
    """Most of the four voices lie between G3 and G4 in any hymn book (common practice, no source).

    The voices' compasses, soprano C4 to G5 and bass E2 to C4, are those of any book on harmony.
    """
    low, tenor, middle, high, top = use_at("great.octave", [36, 52, 65, 79, 95])
    assert middle > 0.95
    assert tenor > 0.5 * middle
    assert low < 0.3
    assert high < 0.3
    assert top == pytest.approx(LIMITS.least_use)


def test_literature_uses_the_ends_of_the_keyboard_more_than_hymns():
    ends = [36, 90]
    assert np.all(
        use_at("great.octave", ends, Purpose.RECITAL) > 1.2 * use_at("great.octave", ends)
    )


def test_the_pedal_plays_the_bass():
    """The same key is in the middle of the bass on the pedal, and low on the manual."""
    layout = Layout.of(PEDAL)
    use = key_use(layout)
    on_manual = use[layout.place(PipeRef("great.principal", 45 - 35))]
    on_pedal = use[layout.place(PipeRef("pedal.subbass", 45 - 35))]
    assert on_pedal > 1.3 * on_manual


@pytest.mark.parametrize("purpose", list(Purpose))
def test_every_purpose_draws_every_kind_and_principals_more_than_celestes(purpose):
    use = drawn_use(LAYOUT, purpose)
    assert np.all((use > 0.0) & (use <= 1.0))
    principal, celeste = (
        use[LAYOUT.place(PipeRef(rank, 31))] for rank in ("great.principal", "swell.celeste")
    )
    assert principal > celeste


def test_a_choir_is_accompanied_softly():
    reed = LAYOUT.place(PipeRef("great.trumpet", 31))
    flute = LAYOUT.place(PipeRef("swell.flute", 31))
    hymns, choir = drawn_use(LAYOUT), drawn_use(LAYOUT, Purpose.ACCOMPANIMENT)
    assert choir[flute] > hymns[flute]
    assert choir[reed] < hymns[reed]


def test_strays_count_from_c3_to_c6_and_on_the_pedal_from_its_lowest_key():
    layout = Layout.of(PEDAL)
    played = played_range(layout)
    manual = layout.slice_of(PEDAL.rank("great.principal"))
    semitone = layout.semitone[manual]
    assert_allclose(played[manual], (semitone >= 48) & (semitone <= 84))
    assert played[layout.slice_of(PEDAL.rank("pedal.subbass"))].all()


# How often a rank of its kind is drawn in hymns: common practice, no source.
DRAWN_IN_HYMNS = {
    "great.bourdon": 0.3,
    "great.principal": 0.9,
    "great.octave": 0.9,
    "great.fifteenth": 0.65,
    "great.flute": 0.7,
    "great.flautino": 0.5,
    "great.twelfth": 0.35,
    "great.mixture": 0.45,
    "great.trumpet": 0.35,
    "great.celeste": 0.1,
    "pedal.subbass": 0.9,
    "pedal.bass": 0.9,
    "pedal.choral": 0.6,
    "pedal.quint": 0.6,
    "pedal.trombone": 0.35,
}
BREAKS = '[{from = "C2", interval = 19}, {from = "C4", interval = 15}]'
EVERY_KIND = read_organ(
    HEAD.format(temperament="equal", a4=440.0, celsius=18.0)
    + DIVISIONS.replace("swell", "pedal")
    .replace("Swell", "Pedal")
    .replace("enclosed = true", "")
    .replace('name = "Pedal"\nkeys = 61', 'name = "Pedal"\nkeys = 32')
    + "\n".join(
        [
            a_rank("great.bourdon", "stopped", "stopper", feet='"16"'),
            a_rank("great.principal"),
            a_rank("great.octave", feet='"4"'),
            a_rank("great.fifteenth", feet='"2"'),
            a_rank("great.flute", "stopped", "stopper"),
            a_rank("great.flautino", "chimney", "ears", feet='"2"'),
            a_rank("great.twelfth", "open", "cone", feet='"2 2/3"'),
            a_rank(
                "great.mixture",
                "open",
                "cone",
                breaks='[{from = "C2", interval = 19}, {from = "C4", interval = 15}]',
            ),
            a_rank("great.trumpet", "reed", "spring"),
            a_rank("great.celeste", beats="2.5"),
            a_rank("pedal.subbass", "stopped", "stopper", feet='"16"', pipes=32),
            a_rank("pedal.bass", feet='"8"', pipes=32),
            a_rank("pedal.choral", feet='"4"', pipes=32),
            a_rank("pedal.quint", "open", "cone", feet='"10 2/3"', pipes=32),
            a_rank("pedal.trombone", "reed", "spring", feet='"16"', pipes=32),
        ]
    )
)


def often_drawn(purpose: Purpose) -> dict[str, float]:
    """Share of the time in which each rank of the organ of every kind is drawn."""
    layout = Layout.of(EVERY_KIND)
    use = drawn_use(layout, purpose)
    return {r.id: float(use[layout.place(PipeRef(r.id, 5))] ** 2) for r in EVERY_KIND.ranks}


def test_a_pipe_counts_by_the_root_of_how_often_it_is_drawn():
    assert often_drawn(Purpose.HYMNS) == pytest.approx(DRAWN_IN_HYMNS)


@pytest.mark.parametrize("purpose", list(Purpose))
def test_no_stop_is_drawn_more_than_always_and_the_pedals_bass_nearly_so(purpose):
    drawn = often_drawn(purpose)
    assert all(0.05 < share < 0.96 for share in drawn.values())
    assert drawn["pedal.subbass"] > 0.89
    for colour in ("great.celeste", "great.twelfth", "great.bourdon"):
        assert drawn[colour] < 0.7 * drawn["great.principal"]
    assert drawn["great.celeste"] < drawn["great.flute"] / 2.0


def test_recitals_draw_colours_and_choirs_flutes():
    hymns, recital, choir = (
        often_drawn(p) for p in (Purpose.HYMNS, Purpose.RECITAL, Purpose.ACCOMPANIMENT)
    )
    for colour in ("great.trumpet", "great.mixture", "great.twelfth", "pedal.trombone"):
        assert choir[colour] < hymns[colour] < recital[colour]
    assert hymns["great.flute"] < choir["great.flute"]
    assert choir["great.principal"] < hymns["great.principal"]


def test_a_key_counts_by_its_time_in_the_chorales_and_at_least_a_twentieth():
    """Fitted by bench ear_fit: the power 0.7; the table read again, by hand."""
    table = files("walkboard.planning.value").joinpath("ordinary_use.csv").read_text()
    rows = [line.split(",") for line in table.splitlines() if line.startswith("manual,")]
    permille = {int(key): int(value) for _, key, value in rows}
    assert max(permille.values()) == 1000
    keys = [36, 48, 55, 60, 67, 79, 96]
    expected = [0.05 + 0.95 * (permille.get(key, 0) / 1000.0) ** 0.7 for key in keys]
    assert_allclose(use_at("great.octave", keys), expected, rtol=1e-12)


def test_a_recital_uses_half_as_much_at_either_end_as_in_the_middle():
    """Where the chorales have no note at all: six parts of the table, four of the compass."""
    low, high = use_at("great.octave", [36, 96], Purpose.RECITAL)
    bare_low, bare_high = use_at("great.octave", [36, 96])
    assert bare_high == pytest.approx(0.05)
    assert high == pytest.approx(0.05 + 0.95 * (0.4 * 0.5) ** 0.7)
    assert low >= high > bare_low
