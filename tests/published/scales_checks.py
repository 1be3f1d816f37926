"""What walkboard.scales, organ.model and sheets.cautions answer to the published values."""

from __future__ import annotations

import re
from fractions import Fraction
from types import MappingProxyType

from tests.published.rows import Answer, Register, Row
from walkboard import quantities
from walkboard.organ.model import (
    Chest,
    Division,
    Family,
    Organ,
    Pitch,
    Plays,
    Rank,
    Stop,
    TunedBy,
)
from walkboard.physics.air import speed_of_sound_iso9613_m_s
from walkboard.scales.beats import beat_of_keys
from walkboard.scales.harmonics import multiple_of_feet, multiple_of_interval
from walkboard.scales.keys import Key, keys_from
from walkboard.scales.pitch import key_hz, pitch_standard
from walkboard.scales.temperament import Temperament, from_fifths, known
from walkboard.sheets.cautions import LIMITS

register = Register()
answers, constant = register.answers, register.constant

EQUAL = known("equal")
SEMITONES = {"m3": 3, "M3": 4, "P4": 5, "P5": 7, "m6": 8, "M6": 9}

# the rows' ids and the names that a tuner types
NAMES = {
    "equal_12": "equal",
    "pythagorean_wolf_gs-eb": "pythagorean",
    "1-4-comma_meantone": "meantone 1/4",
    "1-5-comma_meantone": "meantone 1/5",
    "1-6-comma_meantone": "meantone 1/6",
    "1-6-pc_meantone_silbermann_type": "meantone 1/6 pc",
    "werckmeister_iii": "werckmeister iii",
    "werckmeister_iv": "werckmeister iv",
    "werckmeister_v": "werckmeister v",
    "kirnberger_ii": "kirnberger ii",
    "kirnberger_iii": "kirnberger iii",
    "vallotti_usual_modern_form": "vallotti",
    "young_1_1799-1800_first": "young 1",
    "young_2_1802": "young 2",
    "neidhardt_1724_no_iii_dupont;_original_print": "neidhardt 1724 iii",
    "neidhardt_1732_for_a_village": "neidhardt 1732 village",
    "sorge_1758": "sorge 1758",
    "kellner_1977": "kellner 1977",
    "barnes_1979": "barnes 1979",
    "lehman_bach_2005": "lehman 2005",
    "rameau_1726_flat-side_reading": "rameau 1726 flat",
    "rameau_1726_sharp-side_reading": "rameau 1726 sharp",
}


@answers(r"temper\.published\..*")
def _(row: Row) -> Answer:
    temperament = known(NAMES[row.id.removeprefix("temper.published.")])
    octave = [Key(60 + i) for i in range(12)]
    if "A=0" in row.quantity:
        return [temperament.offset_cents(key) for key in octave]
    return [temperament.cents(key) for key in octave]


@answers(r"temper\.(?!published|const).*")
def _(row: Row) -> Answer:
    ours = known(NAMES[row.id.removeprefix("temper.")])
    typed = from_fifths("as typed", row.inputs["fifths_tempering_cents"])
    # two ways to the same row: by name and from the fifths; the one that is further off answers
    further = ours if _worst(ours, row) >= _worst(typed, row) else typed
    return list(further.cents_above_c)


def _worst(temperament: Temperament, row: Row) -> float:
    values: list[float] = row.value
    return max(abs(a - b) for a, b in zip(temperament.cents_above_c, values, strict=True))


constant("temper.const.PC", quantities.PYTHAGOREAN_COMMA_CENTS)
constant("temper.const.SC", quantities.SYNTONIC_COMMA_CENTS)
constant("temper.const.schisma", quantities.SCHISMA_CENTS)
constant("temper.const.pure_fifth", quantities.PURE_FIFTH_CENTS)
constant("temper.const.pure_major_third", quantities.PURE_MAJOR_THIRD_CENTS)
constant("temper.const.diesis_128_125", quantities.DIESIS_CENTS)


def _beat(row: Row, temperament: Temperament = EQUAL, a4_hz: float = 440.0) -> float:
    lower = Key.parse(row.inputs["lower"])
    upper = lower.up(SEMITONES[row.inputs["interval"]])
    return beat_of_keys(lower, upper, a4_hz, temperament).beat_hz


@answers(r"beat\.exact\.et\..*")
def _(row: Row) -> Answer:
    return _beat(row)


@answers(r"beat\.(et|handset)\..*")
def _(row: Row) -> Answer:
    return abs(_beat(row))  # printed without a sign


@answers(r"beat\.lehman\.F3-A3\.a(440|415)")
def _(row: Row) -> Answer:
    a4_hz = float(row.id.rpartition(".a")[2])
    return beat_of_keys(Key.parse("F3"), Key.parse("A3"), a4_hz, known("lehman 2005")).beat_hz


@answers(r"mut\..*")
def _(row: Row) -> Answer:
    return float(multiple_of_feet(str(row.inputs["feet"])))


@answers(r"mix\.numeral\..*")
def _(row: Row) -> Answer:
    return float(multiple_of_interval(row.inputs["numeral"]))


@answers(r"freq\..*")
def _(row: Row) -> Answer:
    return key_hz(Key(row.inputs["midi"]), 440.0, EQUAL)


@answers(r"compass\..*")
def _(row: Row) -> Answer:
    lowest, highest = str(row.inputs["compass"]).removeprefix("pedal ").split("-")
    return keys_from(Key.from_helmholtz(lowest), Key.from_helmholtz(highest))


@answers(r"pitch\.interval\..*")
def _(row: Row) -> Answer:
    return quantities.cents_between(row.inputs["f2"], row.inputs["f1"])


@answers(r"pitch\.435_15C_to_20C")
def _(row: Row) -> Answer:
    start, end = (speed_of_sound_iso9613_m_s(row.inputs[t]) for t in ("t1", "t2"))
    return float(row.inputs["f"] * end / start)


@answers(r"pitch\.5")
def _(_row: Row) -> Answer:
    return key_hz(Key.from_helmholtz("c2"), pitch_standard("new philharmonic").a4_hz, EQUAL)


constant("pitch.1", pitch_standard("iso 16").a4_hz)
constant("pitch.2", pitch_standard("diapason normal").a4_hz)
constant("pitch.3", pitch_standard("diapason normal fork").a4_hz)
constant("pitch.4", pitch_standard("new philharmonic").a4_hz)
constant("pitch.6", pitch_standard("old philharmonic").a4_hz)
constant("pitch.7", pitch_standard("philharmonic fork 1874").a4_hz)
constant("pitch.8", pitch_standard("dresden silbermann").a4_hz)

for number, name in enumerate(
    (
        "noise.lower_action",
        "noise.upper_action",
        "noise.limit",
        "noise.lower_peak",
        "noise.upper_peak",
        "noise.peak_limit",
        "lead.air_uk",
        "lead.air_us",
        "lead.air_us_action",
        "lead.blood",
        "lead.blood_women",
        "ladder.angle",
        "ladder.minutes",
    ),
    start=1,
):
    constant(f"safety.{number}", LIMITS[name].value)


@answers(r"size\.example")
def _(row: Row) -> Answer:
    """The one church organ whose stops, ranks and pipes are printed, with its two compasses.

    How many of its thirty ranks stand on the pedal is not printed: 24 manual ranks and 6 pedal
    ranks are the only whole numbers that make 1572 pipes of 58 and 30 notes.
    """
    manual, pedal = (int(n) for n in re.findall(r"(\d+)-note", row.source))
    low = Key.from_helmholtz("C")
    divisions = (
        Division("great", "Great", manual, low),
        Division("pedal", "Pedal", pedal, low),
    )
    whole = [m for m in range(31) if manual * m + pedal * (30 - m) == row.value[2]]
    assert whole == [24]
    ranks = tuple(
        Rank(
            id=f"r{i}",
            division="great" if i < 24 else "pedal",
            name=f"Rank {i}",
            chest="great" if i < 24 else "pedal",
            family=Family.OPEN,
            tuned_by=TunedBy.SLIDE,
            from_key=low,
            pipes=manual if i < 24 else pedal,
            multiples=((low, Fraction(1)),),
        )
        for i in range(30)
    )
    # five ranks in one stop, the rest alone: 26 stops
    shares = [ranks[:5], *([rank] for rank in ranks[5:])]
    stops = tuple(
        Stop(
            f"s{i}",
            f"Stop {i}",
            share[0].division,
            tuple(Plays(r.id, low, low.up(r.pipes - 1), 1) for r in share),
        )
        for i, share in enumerate(shares)
    )
    organ = Organ(
        name="the printed example",
        pitch=Pitch(440.0, 18.0),
        temperament=EQUAL,
        divisions=divisions,
        chests=tuple(Chest(d.id, d.id) for d in divisions),
        ranks=ranks,
        stops=stops,
        travel_minutes=MappingProxyType({}),
    )
    sounded = {
        pipe
        for stop in organ.stops
        for key in organ.keys_of([stop.id])
        for pipe in organ.sounding([stop.id], key)
    }
    assert sounded == set(organ.pipes())
    return [len(organ.stops), len(organ.ranks), len(sounded)]
