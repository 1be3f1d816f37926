"""However an organ was built: each way described, listened to, planned and printed.

The sound is made by the demo's synthesiser, which shares no code with listening. Where the way of
building decides the pitch, tests below work it out for themselves.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import numpy as np
import pytest
import soundfile

from tests.sheets.visits import facts, text, unspaced
from walkboard.condition.celestes import celeste_beats
from walkboard.condition.gather import best_readings
from walkboard.demo.synthesiser import (
    Ambience,
    Faults,
    KeyHolder,
    PipeVoice,
    Room,
    VoiceKind,
    render_walk,
)
from walkboard.listening.readings import Measured
from walkboard.listening.sound.recording import open_sound
from walkboard.organ.celestes import celeste_target_hz
from walkboard.organ.kinds import Family
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.picture import picture_text
from walkboard.organ.reading import read_organ
from walkboard.organ.sounding import held_key
from walkboard.organ.targets import target_hz
from walkboard.planning.request import PlanRequest
from walkboard.quantities import cents_of_ratio, ratio_of_cents
from walkboard.scales.keys import Key
from walkboard.sheets.typesetting import render_pdf
from walkboard.sheets.values import Work
from walkboard.sheets.worklist import worklist_sheet
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.walk import hear_walk
from walkboard.work.plans import from_walks

AIR_CELSIUS = 18.0
VOICES = {
    Family.OPEN: VoiceKind.OPEN,
    Family.STOPPED: VoiceKind.STOPPED,
    Family.CHIMNEY: VoiceKind.CHIMNEY,
    Family.REED: VoiceKind.REED,
}
HEAD = """
format = 1
name = "Example"
temperament = "meantone 1/4"
pitch = {a4_hz = 440.0, at_celsius = 18.0}
"""


@dataclass(frozen=True)
class Built:
    """One way of building: its description, what is drawn, the keys walked, words on the sheet."""

    toml: str
    drawn: tuple[str, ...]
    keys: str
    printed: tuple[str, ...] = ()
    hz: dict[str, float] = field(default_factory=dict)


def rank(
    id_: str, rest: str, family: str = "open", tuned_by: str = "slide", feet: str = "8"
) -> str:
    return (
        f'[[rank]]\nid = "{id_}"\ndivision = "great"\nname = "{id_.title()}"\n'
        f'family = "{family}"\nfeet = "{feet}"\ntuned_by = "{tuned_by}"\n{rest}\n'
    )


GREAT = '[[division]]\nid = "great"\nname = "Great"\nkeys = 56\n'
SHORT = '[[division]]\nid = "great"\nname = "Great"\nkeys = 45\noctave = "short"\n'
SPLIT = '[[division]]\nid = "great"\nname = "Great"\nkeys = 55\nsplit = ["Eb", "G#"]\n'
SWELL = '[[division]]\nid = "swell"\nname = "Swell"\nkeys = 56\nenclosed = true\n'

BUILT = {
    "short octave": Built(
        SHORT + rank("principal", "pipes = 45"),
        ("principal",),
        "C2 D2 E2 F2 G2",
        ("D2",),
    ),
    "missing key": Built(
        GREAT.replace("56", '55\nmissing = ["C#2"]') + rank("principal", "pipes = 55"),
        ("principal",),
        "C2 D2 D#2 E2 F2",
        ("D2",),
    ),
    "split sharps": Built(
        SPLIT + rank("principal", "pipes = 55"),
        ("principal",),
        "G3 G#3 Ab3* A3 A#3",
        ("A♭3*",),
    ),
    "several constructions": Built(
        GREAT
        + rank(
            "flute",
            'pipes = 56\nparts = [{from = "C3", family = "chimney", tuned_by = "cap"}, '
            '{from = "C5", family = "open", tuned_by = "cone", name = "open treble"}]',
            "stopped",
            "stopper",
        ),
        ("flute",),
        "A2 B2 C3 D3 B4 C5 D5",
    ),
    "celeste in cents": Built(
        GREAT
        + rank("viola", "pipes = 56")
        + rank("celeste", 'pipes = 56\nceleste = {cents = -12.0, partner = "viola"}'),
        ("celeste",),
        "C4 D4 E4 F4",
    ),
    "celeste with rising beats": Built(
        GREAT + rank("celeste", "pipes = 56\nceleste = {beats = {C3 = 1.0, C6 = 4.0}}"),
        ("celeste",),
        "C4 D4 E4 F4",
    ),
    "coupler": Built(
        GREAT
        + SWELL
        + rank("principal", "pipes = 56")
        + rank("flute4", "pipes = 56", feet="4").replace('"great"', '"swell"')
        + '[[coupler]]\nid = "octave"\nname = "Swell to Great 4"\nfrom = "swell"\nto = "great"\n'
        "octave = 1\n"
        '[[tremulant]]\nid = "tremulant"\nname = "Tremulant"\ndivisions = ["swell"]\n',
        ("flute4", "octave"),
        "C3 D3 E3 F3",
    ),
    "free reed, half length, harmonic": Built(
        GREAT
        + rank("euphone", 'pipes = 56\nbuild = "free reed"', "reed", "spring")
        + rank(
            "trumpet",
            'pipes = 56\nbuild = "half-length"\nparts = [{from = "C3", family = "reed", '
            'tuned_by = "spring"}, {from = "C5", family = "reed", tuned_by = "spring", '
            'build = "harmonic"}]',
            "reed",
            "spring",
        ),
        ("trumpet",),
        "B2 C3 B4 C5",
    ),
    "resultant": Built(
        GREAT
        + rank("bourdon", "pipes = 56", "stopped", "stopper", "16")
        + '[[stop]]\nid = "resultant"\nname = "Resultant 32"\ndivision = "great"\n'
        'plays = [{rank = "bourdon"}, {rank = "bourdon", first_pipe = 8}]\n'
        '[[stop]]\nid = "bourdon"\nname = "Bourdon"\ndivision = "great"\n'
        'plays = [{rank = "bourdon"}]\n',
        ("bourdon",),
        "C3 D3 E3 F3",
    ),
    "physical order and front": Built(
        GREAT
        + rank(
            "principal",
            'pipes = 56\norder = "sides"\ntoe_board = 1\ndumb = 4\n'
            'front = {from = "C2", to = "B2"}',
        ),
        ("principal",),
        "C3 D3 E3 F3",
    ),
    "two organs, a floating division and a toy": Built(
        '[[organ]]\nid = "gallery"\nname = "Gallery"\ntemperament = "equal"\n'
        "pitch = {a4_hz = 415.0, at_celsius = 18.0}\n"
        '[[toy]]\nid = "star"\nname = "Bell star"\nkind = "bell star"\n'
        + GREAT
        + 'organ = "gallery"\nfloating = true\n'
        + rank("principal", "pipes = 56"),
        ("principal",),
        "G4 A4 B4 C5",
        hz={"A4": 415.0},
    ),
    "one rank at eight pitches": Built(
        GREAT
        + rank("flute", "pipes = 104", "stopped", "stopper", "16")
        + "".join(
            f'[[stop]]\nid = "flute{n}"\nname = "Flute {n}"\ndivision = "great"\n'
            f'plays = [{{rank = "flute", first_pipe = {first}}}]\n'
            for n, first in enumerate((1, 13, 20, 25, 29, 32, 37, 49), 1)
        ),
        ("flute4",),
        "C3 D3 E3 F3",
    ),
    "wind, box and a pitch of its own": Built(
        GREAT
        + rank("principal", "pipes = 56\nwind_mm = 70.0")
        + rank(
            "tuba", "pipes = 56\nwind_mm = 380.0\nenclosed = true\na4_hz = 442.0", "reed", "spring"
        ),
        ("tuba",),
        "G4 A4 B4 C5",
        hz={"A4": 442.0},
    ),
    "replaced, moved, revoiced": Built(
        GREAT
        + rank(
            "dulciana",
            'pipes = 56\nchanges = [{year = 1971, what = "replaced"}, '
            '{year = 1998, what = "moved", was = "choir.dulciana"}, '
            '{year = 2011, what = "revoiced"}]',
        ),
        ("dulciana",),
        "C4 D4 E4 F4",
    ),
}


def walked(built: Built, organ: Organ) -> tuple[HeardWalk, dict[PipeRef, float]]:
    """The walk of an example as it is heard, and the cents that each pipe was planted off."""
    rng = np.random.default_rng(11)
    keys = [Key.parse(name) for name in built.keys.split()]
    planted: dict[PipeRef, float] = {}
    voices = {}
    for key in keys:
        made = []
        for pipe in organ.sounding(built.drawn, key):
            cents = planted.setdefault(pipe, float(rng.normal(0.0, 3.0)))
            hz = built.hz.get(key.name, target_hz(organ, pipe, AIR_CELSIUS))
            kind = VOICES[organ.rank(pipe.rank).family_of(pipe.number)]
            made.append(
                PipeVoice(
                    pipe, kind, hz * ratio_of_cents(cents), level_db=-20.0, wander_cents=0.05,
                    seed=int(rng.integers(2**31)),
                )
            )  # fmt: skip
        voices[key] = tuple(made)
    rendered = render_walk(
        keys, voices, Room(t60_s=0.8), rng, holder=KeyHolder(hold_s=1.6, gap_s=0.3),
        faults=Faults(), ambience=Ambience(), sample_rate=16_000,
    )  # fmt: skip
    stream = io.BytesIO()
    soundfile.write(stream, rendered.samples, 16_000, format="FLAC", subtype="PCM_24")
    stream.seek(0)
    sound = open_sound(stream, "walk.flac")
    return hear_walk(sound, organ, built.drawn, AIR_CELSIUS, file="walk.flac"), planted


@pytest.mark.parametrize("name", BUILT)
def test_it_is_heard_planned_and_printed(name: str) -> None:
    built = BUILT[name]
    organ = read_organ(HEAD + built.toml)
    walk, planted = walked(built, organ)
    assert [hold.key.name for hold in walk.holds if hold.key] == built.keys.split()
    read = {r.pipe: r for hold in walk.holds for r in hold.readings if isinstance(r, Measured)}
    assert set(read) == set(planted)
    for pipe, cents in planted.items():
        assert read[pipe].cents == pytest.approx(cents, abs=0.5)
    found = from_walks(organ, [walk], PlanRequest(minutes=60.0))
    assert found.plan.items
    for item in found.plan.items:
        assert item.pipe in planted
        held = held_key(organ, item.pipe)
        assert held is not None
    sheet = render_pdf(worklist_sheet(organ, facts(organ), Work(found.plan)))
    shown = unspaced(text(sheet))
    first = held_key(organ, found.plan.items[0].pipe)
    assert first is not None
    assert unspaced(first.key.name.replace("#", "♯").replace("b", "♭")) in shown
    assert organ.divisions[0].name in picture_text(organ)


def test_the_key_after_a_gap_is_named_by_what_it_sounds() -> None:
    organ = read_organ(HEAD + BUILT["short octave"].toml)
    assert target_hz(organ, PipeRef("principal", 2), None) / target_hz(
        organ, PipeRef("principal", 1), None
    ) == pytest.approx(5**0.5 / 2)  # a mean tone: half a pure third


def test_a_celeste_in_cents_keeps_its_interval_and_follows_its_partner() -> None:
    organ = read_organ(HEAD + BUILT["celeste in cents"].toml)
    for number in (1, 30, 56):
        plain = target_hz(organ, PipeRef("viola", number), None)
        off = cents_of_ratio(target_hz(organ, PipeRef("celeste", number), None) / plain)
        assert off == pytest.approx(-12.0)
    measured = 262.9
    hz = celeste_target_hz(organ, PipeRef("celeste", 25), measured)
    assert cents_of_ratio(hz / measured) == pytest.approx(-12.0)


def test_rising_beats_rise_evenly_and_stay_at_the_ends() -> None:
    organ = read_organ(HEAD + BUILT["celeste with rising beats"].toml)
    plain = read_organ(HEAD + GREAT + rank("celeste", "pipes = 56"))
    beats = [
        target_hz(organ, PipeRef("celeste", n), None)
        - target_hz(plain, PipeRef("celeste", n), None)
        for n in (1, 13, 31, 49, 56)
    ]
    assert beats == pytest.approx([1.0, 1.0, 2.5, 4.0, 4.0])


def test_a_part_decides_how_a_pipe_sounds_and_is_tuned() -> None:
    flute = read_organ(HEAD + BUILT["several constructions"].toml).rank("flute")
    assert [flute.family_of(n) for n in (12, 13, 36, 37)] == [
        Family.STOPPED, Family.CHIMNEY, Family.CHIMNEY, Family.OPEN,
    ]  # fmt: skip
    assert [flute.tuned_by_of(n) for n in (12, 13, 37)] == ["stopper", "cap", "cone"]


def test_a_celeste_and_its_partner_heard_one_after_the_other_give_their_beats() -> None:
    """Both walked alone, as a celeste is; the truth is what the synthesiser was given."""
    toml = (
        GREAT
        + rank("viola", "pipes = 56")
        + rank("celeste", 'pipes = 56\nceleste = {beats = {C4 = 3.0}, partner = "viola"}')
    )
    organ = read_organ(HEAD + toml)
    keys = "C4 D4 E4 F4"
    (first, of_viola), (second, of_celeste) = (
        walked(Built(toml, (stop,), keys), organ) for stop in ("viola", "celeste")
    )
    found = celeste_beats(organ, best_readings(organ, [first, second]))
    assert {beats.pipe for beats in found} == set(of_celeste)
    for beats in found:
        own, partner = (
            target_hz(organ, pipe, AIR_CELSIUS) * ratio_of_cents(cents[pipe])
            for pipe, cents in ((beats.pipe, of_celeste), (beats.partner, of_viola))
        )
        assert beats.beats_hz == pytest.approx(own - partner, abs=0.1)
        assert beats.due_hz == pytest.approx(3.0)
