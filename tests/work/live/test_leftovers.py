"""What killed live sessions leave comes into the book: sound as far as whole, the log always."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.listening.live_sounds import RATE
from tests.work.live.test_session import PIPES, killed, tasks
from tests.work.live.test_session import place as place  # noqa: PLC0414 - the fixture
from walkboard.capture.playing import NoWait, PlayedSound
from walkboard.capture.recording import HEADER_BYTES
from walkboard.work.live.leftovers import SET_ASIDE, take_in_left_over
from walkboard.work.live.log import Heard, Line, Settled
from walkboard.work.live.session import Place, TuningSession
from walkboard.work.live.values import FOLDER


def left(place: Place, *, lines: bool = True) -> Path:
    """The sound of a session that was killed after a pipe was done."""
    noise = 1e-3 * np.random.default_rng(7).standard_normal(2 * RATE)
    at = TuningSession(place, PlayedSound(noise, RATE, NoWait()), tasks(place))
    at.run(lambda _: None)
    if lines:
        heard = Heard(hz=523.0, sigma_cents=0.1, level_db=-20.0, start_s=0.2, end_s=0.9)
        settled = Settled(log_tau=4.0, log_tau_sigma=0.1, offset_cents=9.0, offset_sigma_cents=0.5)
        at._log.add(
            Line(pipe=str(PIPES[0]), stop=tasks(place)[0].stop, after=heard, settling=settled)
        )
    killed(at)
    return at._berth.sound


def flipped(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[19] ^= 0x10  # of the sample rate
    path.write_bytes(data)


def overwritten(path: Path) -> None:
    path.write_bytes(np.random.default_rng(1).bytes(50_000))


@pytest.mark.parametrize(
    ("harm", "is_sound", "is_aside"),
    [
        (lambda _path: None, True, False),
        (flipped, True, True),
        (overwritten, False, True),
        (lambda path: path.write_bytes(path.read_bytes()[:30]), False, False),
        (Path.unlink, False, False),
    ],
    ids=["none", "a flipped bit", "no frame left", "shorter than a header", "no file"],
)
def test_the_log_is_kept_whatever_became_of_the_sound(
    place: Place, harm: Callable[[Path], object], is_sound: bool, is_aside: bool
) -> None:
    sound = left(place)
    harm(sound)
    (kept,) = take_in_left_over(place.book)
    assert [hold.readings[0].pipe for hold in kept.walk.holds] == [PIPES[0]]
    assert [one.pipe for one in place.book.settlings()] == [PIPES[0]]
    assert kept.file_name.endswith(".flac" if is_sound else ".jsonl")
    if is_sound:
        assert kept.walk.sound.seconds == pytest.approx(2.0, abs=0.1)
        assert kept.walk.sound.sample_rate == RATE
    else:
        assert "sound of this session was lost" in kept.walk.warnings[-1]
    aside = place.book.path / SET_ASIDE
    assert aside.exists() == is_aside
    notes = [note.words for note in place.book.visit(place.visit.id).notes]
    assert len(notes) == (is_aside or not is_sound)
    if is_aside:
        assert f"{SET_ASIDE}/{sound.name}" in notes[-1]
        assert (aside / sound.name).stat().st_size > HEADER_BYTES
    assert list((place.book.path / FOLDER).iterdir()) == []
    assert take_in_left_over(place.book) == ()
    assert place.book.check() == ()


def test_sound_without_a_frame_and_without_a_pipe_is_still_set_aside(place: Place) -> None:
    sound = left(place, lines=False)
    overwritten(sound)
    (kept,) = take_in_left_over(place.book)
    assert kept.walk.holds == ()
    assert (place.book.path / SET_ASIDE / sound.name).stat().st_size == 50_000


def test_a_session_killed_before_anything_was_there_leaves_nothing(place: Place) -> None:
    sound = left(place, lines=False)
    sound.write_bytes(b"fLaC")
    assert take_in_left_over(place.book) == ()
    assert list((place.book.path / FOLDER).iterdir()) == []
    assert place.book.recordings(place.visit.id) == ()


@pytest.mark.parametrize("head", [b"", b"{", b"\xff\xfe\n", b"[1]\n", b'{"visit_id": "one"}\n'])
def test_a_log_that_cannot_be_read_stays_and_the_check_names_it(place: Place, head: bytes) -> None:
    sound = left(place)
    log = sound.with_suffix(".jsonl")
    log.write_bytes(head)
    assert take_in_left_over(place.book) == ()
    assert log.exists()
    assert sound.exists()
    (problem,) = place.book.check()
    assert problem.where == f"{FOLDER}/{log.name}"
    assert "cannot be read" in problem.what
    assert sound.name in problem.fix
