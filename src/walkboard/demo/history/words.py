"""The texts of the invented history: visits, faults, events. All of it is invented."""

from __future__ import annotations

from dataclasses import dataclass

from walkboard.book.records import FaultKind
from walkboard.book.venue.records import Contact, Role
from walkboard.demo.history.years import PlannedVisit

CHORUS = (
    "great.principal8",
    "great.octave4",
    "great.twelfth",
    "great.fifteenth2",
    "swell.principal4",
    "swell.fifteenth2",
)
REEDS = ("great.trumpet8", "swell.trumpet8", "swell.oboe8", "solo.clarinet8", "pedal.trombone16")
SOFT = (
    "great.bourdon8",
    "swell.chimney8",
    "swell.gamba8",
    "swell.flute4",
    "positive.stopped8",
    "positive.nazard",
    "solo.flute8",
)
BASS = ("pedal.bourdon16", "pedal.open16", "pedal.octave4")
TOPS = ("great.mixture", "swell.mixture", "pedal.mixture", "positive.octave2", "positive.larigot")

VISITS = (
    PlannedVisit(
        36, "first visit, the whole organ heard", 360.0, (), 20.0, "Neglected, but sound."
    ),
    PlannedVisit(
        33, "before the summer recitals", 180.0, CHORUS + REEDS, 22.0, "Reeds in good heart."
    ),
    PlannedVisit(
        30, "after the summer", 150.0, CHORUS + SOFT, 19.0, "Slides of the Twelfth are loose."
    ),
    PlannedVisit(27, "before Advent", 180.0, (*CHORUS, *REEDS, *BASS), 20.0, ""),
    PlannedVisit(
        24, "spring visit", 180.0, CHORUS + TOPS, 20.0, "The mixtures took most of the time."
    ),
    PlannedVisit(21, "before the summer recitals", 150.0, REEDS + SOFT, 22.0, ""),
    PlannedVisit(
        15, "before Advent", 180.0, (*CHORUS, *REEDS, *BASS), 20.0, "Hall at 16 °C until ten."
    ),
    PlannedVisit(12, "spring visit", 180.0, CHORUS + SOFT, 20.0, ""),
    PlannedVisit(9, "before the summer recitals", 150.0, (*CHORUS, *REEDS), 22.0, "Good holding."),
    PlannedVisit(
        3, "before Advent", 180.0, (*CHORUS, *REEDS, *TOPS), 20.0, "Positive left for spring."
    ),
)


@dataclass(frozen=True, slots=True)
class FaultToTell:
    """A fault of the history.

    Attributes
    ----------
    days_before : int
        When it was reported, before the visit of that number.
    visit : int
        From 0.
    fixed : str or None
        What was done at that visit; None if it is still open.
    """

    visit: int
    days_before: int
    kind: FaultKind
    stop: str
    key: str
    words: str
    fixed: str | None


FAULTS = (
    FaultToTell(
        1,
        19,
        FaultKind.CIPHER,
        "great.trumpet8",
        "A3",
        "Sounds on by itself after the full organ, stops when the stop goes in.",
        "Pallet spring weak; set again.",
    ),
    FaultToTell(
        1,
        6,
        FaultKind.DIRTY_TONGUE,
        "swell.oboe8",
        "F#4",
        "Rattles, and is late.",
        "Tongue cleaned.",
    ),
    FaultToTell(
        2,
        30,
        FaultKind.DEAD_NOTE,
        "swell.gamba8",
        "D#3",
        "Nothing at all since the rehearsal.",
        "Foot hole was blocked by a flake of paint.",
    ),
    FaultToTell(
        3,
        12,
        FaultKind.OUT_OF_TUNE,
        "solo.clarinet8",
        "E4",
        "Sour with the flute, even when it is warm.",
        "Spring set; it holds now.",
    ),
    FaultToTell(
        4,
        44,
        FaultKind.SLOW_SPEECH,
        "pedal.open16",
        "C2",
        "Comes a good half second after the pedal is down.",
        "Lip was out; eased. Better, not cured.",
    ),
    FaultToTell(
        5,
        9,
        FaultKind.STICKING_KEY,
        "positive.stopped8",
        "B4",
        "Key stays down in damp weather.",
        "Eased at the front pin.",
    ),
    FaultToTell(
        6,
        25,
        FaultKind.OFF_SPEECH,
        "great.fifteenth2",
        "G5",
        "Squeaks an octave high.",
        "Dust at the mouth; brushed.",
    ),
    FaultToTell(
        7,
        3,
        FaultKind.TREMULANT_LEAK,
        "swell.chimney8",
        "A3",
        "A flutter in everything of the Swell, tremulant off.",
        "Valve bedded again.",
    ),
    FaultToTell(
        8,
        17,
        FaultKind.OUT_OF_TUNE,
        "great.twelfth",
        "C5",
        "One note of the Great beats wildly.",
        "Slide had dropped; tightened and tuned.",
    ),
    FaultToTell(
        9,
        5,
        FaultKind.RUNNING,
        "great.bourdon8",
        "F3",
        "A murmur next to F when the Great is held.",
        None,
    ),
)


@dataclass(frozen=True, slots=True)
class EventToTell:
    """An event, before (−) or after today in days; `months_ago` counts for past ones.

    Attributes
    ----------
    days : int
        From today.
    """

    days: int
    hour: int
    title: str
    stops: tuple[str, ...]
    celsius: float | None


EVENTS = (
    EventToTell(
        -1010, 19, "Summer recital: trumpets and chorus", (*CHORUS, "great.trumpet8"), 22.0
    ),
    EventToTell(-820, 18, "Carols by the quay", (*CHORUS, *BASS), 20.0),
    EventToTell(-640, 19, "Summer recital: quiet colours", SOFT, 22.0),
    EventToTell(-455, 18, "Carols by the quay", (*CHORUS, *BASS), 20.0),
    EventToTell(-280, 19, "Harbour festival, with brass", (*CHORUS, *REEDS), 21.0),
    EventToTell(-95, 18, "Carols by the quay", (*CHORUS, *BASS), 20.0),
    EventToTell(
        9, 13, "Lunchtime recital", ("great.principal8", "swell.oboe8", "solo.flute8"), 19.0
    ),
    EventToTell(24, 19, "Choral society, with organ", (*CHORUS, *BASS), 20.0),
    EventToTell(47, 15, "Open afternoon: try the organ", (), None),
    EventToTell(96, 19, "Summer recital: trumpets and chorus", (*CHORUS, *REEDS), 22.0),
    EventToTell(178, 19, "Harbour festival, with brass", (*CHORUS, *REEDS, *TOPS), 21.0),
)

CONTACTS = (
    Contact(Role.OWNER, "The hall's trustees", "office at the quay"),
    Contact(Role.TUNER, "the tuner", "card at the console"),
)
# Who fixes what is still open, with what, and how to play until then.
REPAIR = ("the organ builder", "leather for the slider", "leave the Bourdon in")
NEXT_VISIT_DAYS, NEXT_VISIT_REASON = 22, "the choral society sings two days later"
