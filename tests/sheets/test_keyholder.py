"""The key holder draws one stop and holds keys that sound the pipe the tuner is at."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tests.sheets.visits import hall_organ, village_organ
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.sounding import held_keys
from walkboard.sheets.keyholder import draw_words, key_labels, pipe_words
from walkboard.sheets.wording import with_feet


@pytest.mark.parametrize("organ", [village_organ(), hall_organ()], ids=lambda o: o.name)
def test_the_key_and_stop_that_are_named_do_sound_the_pipe(organ: Organ) -> None:
    for rank in organ.ranks:
        pipes = [PipeRef(rank.id, number) for number in range(1, rank.pipes + 1)]
        for pipe, held in zip(pipes, held_keys(organ, rank, pipes), strict=True):
            assert held is not None, f"{pipe} has no stop"
            assert pipe in held.stop.pipes_at(held.key)


def test_a_plain_rank_is_drawn_by_its_own_stop() -> None:
    organ = village_organ()
    pipes = [PipeRef("great.principal4", 1), PipeRef("great.principal4", 19)]
    held = held_keys(organ, organ.rank("great.principal4"), pipes)
    assert draw_words(organ, held) == "Draw Principal 4′ on the Great."
    assert [h.key.name for h in held if h is not None] == ["C2", "F#3"]


def test_pipes_beyond_one_stop_are_sounded_by_the_other() -> None:
    """The pedal's bourdon: 30 keys play 42 pipes, the top ones only on the 8′."""
    organ = village_organ()
    pipes = [PipeRef("pedal.bourdon16", n) for n in (1, 30, 42)]
    held = held_keys(organ, organ.rank("pedal.bourdon16"), pipes)
    words = draw_words(organ, held)
    assert (
        words == "Draw Bourdon 16′ on the Pedal. Where marked, Bass Flute 8′ on the Pedal instead."
    )
    labels = key_labels(organ, organ.rank("pedal.bourdon16"))
    assert labels[30] == "F4"
    assert labels[42] == "F4 (Bass Flute 8)"


def test_an_extension_is_named_by_the_stop_that_reaches_all_of_the_work() -> None:
    organ = village_organ()
    pipes = [PipeRef("pedal.bourdon16", n) for n in (31, 42)]
    held = held_keys(organ, organ.rank("pedal.bourdon16"), pipes)
    assert draw_words(organ, held) == "Draw Bass Flute 8′ on the Pedal."
    assert [h.key.name for h in held if h is not None] == ["F#3", "F4"]


def test_a_row_of_a_mixture_wants_its_neighbours_silenced() -> None:
    organ = hall_organ()
    held = held_keys(organ, organ.rank("great.mixture.2"), [PipeRef("great.mixture.2", 30)])
    assert draw_words(organ, held) == (
        "Draw Mixture IV on the Great. Mixture IV sounds other ranks too: silence them with felt "
        "before you listen."
    )


def test_a_pipe_is_called_by_its_key() -> None:
    assert pipe_words(village_organ(), PipeRef("swell.oboe8", 7)) == "Swell · Oboe 8′, F♯3"


@pytest.mark.parametrize(
    ("name", "feet", "shown"),
    [
        ("Nazard", Fraction(3), "Nazard 2⅔′"),
        ("Nazard 2 2/3", Fraction(3), "Nazard 2⅔′"),
        ("Cromorne 8, bass", Fraction(1), "Cromorne 8′, bass"),
        ("Principal 8′", Fraction(1), "Principal 8′"),
        ("Mixture, row 2", Fraction(1), "Mixture, row 2"),
        ("Unda 2", Fraction(1), "Unda 2"),  # a second one, at eight feet
    ],
)
def test_a_stop_shows_its_feet_once(name: str, feet: Fraction, shown: str) -> None:
    assert with_feet(name, feet) == shown
