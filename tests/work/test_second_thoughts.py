"""Which stops a walk that is not believed would be listened to again with."""

from __future__ import annotations

import pytest

from tests.condition.organs import a_rank
from walkboard.listening.types import SoundInfo
from walkboard.organ.reading import read_organ
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.recognise.verdict import AlsoSounding, Heard
from walkboard.work.second_thoughts import stops_heard

DESCRIPTION = "\n".join(
    [
        'format = 1\nname = "Two manuals"\ntemperament = "equal"',
        "[pitch]\na4_hz = 440.0\nat_celsius = 18.0",
        *(f'[[division]]\nid = "{d}"\nname = "{d.title()}"\nkeys = 61' for d in ("great", "swell")),
        a_rank("great.principal"),
        a_rank("great.octave", feet='"4"'),
        a_rank("swell.flute", "stopped", "stopper"),
        *(
            f'[[coupler]]\nid = "{name}"\nname = "{name}"\nfrom = "swell"\nto = "great"\n{more}'
            for name, more in (("sub", "octave = -1"), ("unison", ""))
        ),
    ]
)
ORGAN = read_organ(DESCRIPTION)
PRINCIPAL, OCTAVE, FLUTE = "great.principal", "great.octave", "swell.flute"


def walk(*also: AlsoSounding, absent: tuple[str, ...] = (), drawn: tuple[str, ...] = (PRINCIPAL,)):
    heard = Heard("", also_sounding=also, not_sounding=absent, believed=False)
    sound = SoundInfo(60.0, 48_000, 1, "")
    return HeardWalk("w.flac", sound, ORGAN.name, drawn, None, (), (), heard=heard)


def also(stop: str, semitones: int = 0) -> AlsoSounding:
    return AlsoSounding(stop, 9, 10, semitones)


def test_what_sounds_as_well_is_added_through_the_unison_coupler_if_need_be() -> None:
    assert stops_heard(ORGAN, walk(also(OCTAVE))) == (PRINCIPAL, OCTAVE)
    assert stops_heard(ORGAN, walk(also(FLUTE))) == (PRINCIPAL, "unison", FLUTE)
    one_manual = read_organ(DESCRIPTION[: DESCRIPTION.index("[[coupler]]")])
    assert stops_heard(one_manual, walk(also(FLUTE))) is None


def test_where_another_stop_was_walked_it_takes_the_place_of_the_stated_one() -> None:
    """The likeliest alone: the others that it may be are not drawn with it."""
    instead = walk(also(OCTAVE), also(FLUTE), absent=(PRINCIPAL,))
    assert stops_heard(ORGAN, instead) == (OCTAVE,)
    one_silent = walk(absent=(OCTAVE,), drawn=(PRINCIPAL, OCTAVE))
    assert stops_heard(ORGAN, one_silent) == (PRINCIPAL,)


@pytest.mark.parametrize(
    "heard",
    [
        walk(also(OCTAVE, 12)),  # through an octave coupler: which one is not known
        walk(also("choir.nothing")),  # of an older description
        walk(),  # nothing better is known
        walk(also(PRINCIPAL)),
    ],
    ids=["octave", "unknown", "nothing", "the same"],
)
def test_where_nothing_better_is_known_nothing_is_proposed(heard: HeardWalk) -> None:
    assert stops_heard(ORGAN, heard) is None


def test_a_walk_that_is_believed_or_none_at_all_is_left_alone() -> None:
    for heard in (
        None,
        Heard("", also_sounding=(also(OCTAVE),), believed=True),
        Heard("", also_sounding=(also(OCTAVE),), believed=False, is_walk=False),
    ):
        sound = SoundInfo(60.0, 48_000, 1, "")
        one = HeardWalk("w.flac", sound, ORGAN.name, (PRINCIPAL,), None, (), (), heard=heard)
        assert stops_heard(ORGAN, one) is None
