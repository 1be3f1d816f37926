"""Errors say the same after they came from another process."""

import pickle

import pytest

from walkboard.errors import (
    BookError,
    DescriptionError,
    InputError,
    NotEnoughMinutesError,
    Problem,
    SoundError,
    UnknownNameError,
    WalkboardError,
)

PROBLEM = Problem(3, "rank great.octave4: pipes", "There are none.", "Say how many.")


@pytest.mark.parametrize(
    "error",
    [
        WalkboardError("It is so.", where="here", fix="Do that."),
        InputError("It is so.", where="here", fix="Do that."),
        SoundError("No held key was heard.", where="walk.flac", fix="Record one stop."),
        UnknownNameError("There is no such stop.", fix="There is: great.octave4."),
        BookError("The visit is closed."),
        DescriptionError((PROBLEM, PROBLEM), where="hall.toml"),
        NotEnoughMinutesError(12.5),
    ],
    ids=lambda error: type(error).__name__,
)
def test_an_error_comes_whole_from_another_process(error: WalkboardError) -> None:
    back = pickle.loads(pickle.dumps(error))
    assert type(back) is type(error)
    assert str(back) == str(error)
    assert vars(back) == vars(error)
    assert back.args == error.args


def test_an_error_s_place_can_be_named_before_it_goes_on() -> None:
    error = SoundError("No held key was heard.")
    error.where = "walk.flac"
    assert pickle.loads(pickle.dumps(error)).where == "walk.flac"
