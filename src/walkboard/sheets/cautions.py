"""Cautions for work inside the case, as data: by the kinds of pipe and places on a worklist.

A printed sheet cites official bodies only; other sources are in ``docs/venue.md``. The limits are
figures from the law or guide named, for orientation. They are not advice: every sheet also prints
`DEFERENCE`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from walkboard.organ.model import Division, Family, Rank, TunedBy
from walkboard.sheets.values import CautionLine

DEFERENCE = (
    "Local rules and the holder's own instructions come before this sheet. Electrical work, "
    "asbestos and repairs to the structure are for people licensed to do them."
)


@dataclass(frozen=True, slots=True)
class Limit:
    """A figure of a law or guide.

    Attributes
    ----------
    what : str
    value : float
    unit : str
    source : str
    """

    what: str
    value: float
    unit: str
    source: str


_NOISE = "United Kingdom, Control of Noise at Work Regulations 2005"
_BLOOD = "United Kingdom, Health and Safety Executive 2002, in a table of the US National Academies"
_LADDERS = "HSE INDG402, Ladder Association LA455"

LIMITS = MappingProxyType(
    {
        "noise.lower_action": Limit("lower daily exposure action value", 80.0, "dB(A)", _NOISE),
        "noise.upper_action": Limit("upper daily exposure action value", 85.0, "dB(A)", _NOISE),
        "noise.limit": Limit("daily exposure limit, protection counted", 87.0, "dB(A)", _NOISE),
        "noise.lower_peak": Limit("lower peak action value", 135.0, "dB(C)", _NOISE),
        "noise.upper_peak": Limit("upper peak action value", 137.0, "dB(C)", _NOISE),
        "noise.peak_limit": Limit("peak limit, protection counted", 140.0, "dB(C)", _NOISE),
        "lead.air_uk": Limit(
            "lead in air over 8 hours",
            0.15,
            "mg/m³",
            "United Kingdom, Control of Lead at Work Regulations 2002",
        ),
        "lead.air_us": Limit(
            "lead in air over 8 hours, permissible limit",
            0.05,
            "mg/m³",
            "United States, 29 CFR 1910.1025(c)",
        ),
        "lead.air_us_action": Limit(
            "lead in air over 8 hours, action level",
            0.03,
            "mg/m³",
            "United States, 29 CFR 1910.1025(b)",
        ),
        "lead.blood": Limit("lead in blood, action level", 50.0, "µg/dL", _BLOOD),
        "lead.blood_women": Limit(
            "lead in blood, action level for women who could bear children", 25.0, "µg/dL", _BLOOD
        ),
        "ladder.angle": Limit("angle of a leaning ladder, 1 out for 4 up", 75.0, "°", _LADDERS),
        "ladder.minutes": Limit(
            "longest time in one position on a ladder",
            30.0,
            "min",
            f"{_LADDERS}; from memory, read the current guide",
        ),
    }
)


class Topic(StrEnum):
    """What a caution is about."""

    FOOTING = "footing"
    LADDERS = "ladders"
    ALONE = "alone"
    POWER = "power"
    ASBESTOS = "asbestos"
    NOISE = "noise"
    LEAD = "lead"
    SHUTTERS = "shutters"
    TALL_PIPES = "tall pipes"
    CONING = "coning"
    HERITAGE = "heritage"


@dataclass(frozen=True, slots=True)
class Caution:
    """One printed caution.

    Attributes
    ----------
    topic : Topic
    text : str
    source : str
    """

    topic: Topic
    text: str
    source: str


def _figure(name: str) -> str:
    limit = LIMITS[name]
    return f"{limit.value:g}{'' if limit.unit == '°' else ' '}{limit.unit}"


_PRACTICE = "common practice, no source"
CAUTIONS = MappingProxyType(
    {
        caution.topic: caution
        for caution in (
            Caution(
                Topic.FOOTING,
                "Walkboards, steps and passage boards inside an organ can give way. Try each "
                "before you trust it with your weight, one person to a board, with a light in hand "
                "and both hands free when you climb.",
                _PRACTICE,
            ),
            Caution(
                Topic.LADDERS,
                f"Lean a ladder at {_figure('ladder.angle')}, 1 out for 4 up, tied or footed, 1 m "
                "above the landing. Three points of contact, light work only, no more than "
                f"{_figure('ladder.minutes')} in one position.",
                _LADDERS,
            ),
            Caution(
                Topic.ALONE,
                "Do not climb or work near live parts alone. Tell someone where you are and when "
                "you will report; the key holder must hear you call.",
                "HSE INDG73, from memory",
            ),
            Caution(
                Topic.POWER,
                "Before you reach into the blower, its belts, motors or wiring: switch off, "
                "isolate, lock off, prove dead. Repairs are for an electrician.",
                "HSE HSG85, 3rd edition 2013",
            ),
            Caution(
                Topic.ASBESTOS,
                "A blower box of the 1960s or 1970s may be lined with asbestos board. Do not open, "
                "clean or run a lined box before the holder of the building shows its survey.",
                "HSL/2006/115; Control of Asbestos Regulations 2012",
            ),
            Caution(
                Topic.NOISE,
                "Beside a sounding chest the level can pass "
                f"{_figure('noise.upper_action')}, where hearing protection must be worn in the "
                f"United Kingdom (the limit is {_figure('noise.limit')}, protection counted). Wear "
                "it, hold few stops, and come away between ranks; reeds and mixtures are loudest.",
                f"{_NOISE}; levels in a case: common practice, no source",
            ),
            Caution(
                Topic.LEAD,
                "Metal pipes hold lead. Wear gloves or wash your hands before you eat, drink or "
                "smoke; no dry sanding, no sweeping, and no vacuum cleaner without a fine (HEPA) "
                f"filter. Limit in air over 8 hours: {_figure('lead.air_uk')} in the United "
                f"Kingdom, {_figure('lead.air_us')} in the United States.",
                "Control of Lead at Work Regulations 2002; 29 CFR 1910.1025",
            ),
            Caution(
                Topic.SHUTTERS,
                "Swell shutters and their motors can close on a hand. Have them set open and their "
                "wind or current taken off before you work between them.",
                _PRACTICE,
            ),
            Caution(
                Topic.TALL_PIPES,
                "Pipes of 8 feet and longer are heavy and may stand loose. Never lean on one or "
                "steady yourself by it; look to its hook and rack before you move its slide.",
                _PRACTICE,
            ),
            Caution(
                Topic.CONING,
                "Coning strains the top and can split the seam: a cone that fits, light strokes, "
                "the pipe kept upright. Leave a split or torn pipe and note it.",
                _PRACTICE,
            ),
            Caution(
                Topic.HERITAGE,
                "Some of these pipes are marked historic. Do not cone, cut, bend or fit slides to "
                "them; ask the organ's adviser first. In a church the work may need consent (in "
                "the Church of England under the Faculty Jurisdiction Rules 2015).",
                "Faculty Jurisdiction Rules 2015, headings of lists A and B; rest common practice, "
                "no source",
            ),
        )
    }
)

_ALWAYS = (Topic.FOOTING, Topic.LADDERS, Topic.ALONE, Topic.POWER, Topic.ASBESTOS, Topic.NOISE)
_METAL = frozenset({TunedBy.SLIDE, TunedBy.CONE, TunedBy.ROLL, TunedBy.CAP, TunedBy.EARS})


def cautions_for(ranks: Iterable[Rank], divisions: Iterable[Division]) -> tuple[Caution, ...]:
    """The cautions for work on these ranks in these divisions.

    Parameters
    ----------
    ranks : iterable of Rank
        Ranks on the worklist.
    divisions : iterable of Division
        Divisions they belong to.

    Returns
    -------
    tuple of Caution
        General ones for work inside a case first; print `DEFERENCE` with them.
    """
    topics = dict.fromkeys(_ALWAYS)
    if any(division.enclosed for division in divisions):
        topics[Topic.SHUTTERS] = None
    for rank in ranks:
        # the description does not give the material: the tuning device shows metal or wood
        parts = rank.parts_used
        if any(part.family is Family.REED or part.tuned_by in _METAL for part in parts):
            topics[Topic.LEAD] = None
        if _longest_feet(rank) > 7.9:
            topics[Topic.TALL_PIPES] = None
        if any(part.tuned_by is TunedBy.CONE for part in parts):
            topics[Topic.CONING] = None
        if rank.historic:
            topics[Topic.HERITAGE] = None
    return tuple(CAUTIONS[topic] for topic in Topic if topic in topics)


def caution_lines(ranks: Iterable[Rank], divisions: Iterable[Division]) -> tuple[CautionLine, ...]:
    """The same as they are printed."""
    return tuple(
        CautionLine(caution.topic.value.capitalize(), caution.text, caution.source)
        for caution in cautions_for(ranks, divisions)
    )


def _longest_feet(rank: Rank) -> float:
    """Nominal length of a rank's lowest pipe [ft]; a stopped one is half as tall."""
    octaves_above_c2 = (rank.from_key.semitone - 36) / 12.0
    return float(8.0 / float(rank.multiples[0][1]) / 2.0**octaves_above_c2)
