"""How ranks sounded is taken from the book's recordings, and reaches what hears the next one."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from bench._situations.player import organ_text

from tests.survey.hear.test_before import ORGAN, PRINCIPAL, STRING, Rank
from tests.survey.organs import SMALL, rendered_walk
from walkboard.book.keeping import Book
from walkboard.book.records import KeptRecording
from walkboard.errors import BookError
from walkboard.listening.types import SoundInfo
from walkboard.organ.reading import read_organ
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.recognise.verdict import Heard
from walkboard.work import open_book
from walkboard.work import visit as visit_work
from walkboard.work.remembered import besides, earlier_sounds
from walkboard.work.second_thoughts import confirm, withdraw

FIRST = open_book.now()


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_book.new(tmp_path / "book") as made:
        made.add_organ(ORGAN.name, organ_text(37, "equal"))
        made.open_visit(1, "spring", minutes=60.0)
        yield made


def keep(book: Book, folder: Path, rank: str, seed: int, *, believed: bool = True) -> KeptRecording:
    """A walk of a rank, as if heard."""
    path = folder / f"{rank}-{seed}.wav"
    soundfile.write(path, np.random.default_rng(seed).normal(0.0, 0.1, 800), 8_000)
    walk = HeardWalk(
        path.name,
        SoundInfo(0.1, 8_000, 1, "WAV"),
        ORGAN.name,
        (rank,),
        None,
        tuple(Rank(rank, 1).holds(seed)),
        (),
        heard=Heard("", believed=believed),
    )
    return visit_work.keep_heard(book, book.visits(1)[-1], path, walk)


def test_a_rank_and_others_of_its_pitch_are_taken_from_earlier_recordings(
    book: Book, tmp_path: Path
) -> None:
    assert earlier_sounds(book, 1, ORGAN, [PRINCIPAL]) == ()
    first = keep(book, tmp_path, PRINCIPAL, 1)
    second = keep(book, tmp_path, STRING, 2)
    keep(book, tmp_path, STRING, 3, believed=False)
    found = earlier_sounds(book, 1, ORGAN, [PRINCIPAL])
    assert {(one.rank, one.sha256) for one in found} == {
        (PRINCIPAL, first.sha256),
        (STRING, second.sha256),
    }
    assert set(besides(found, "")) == {PRINCIPAL, STRING}
    # The recording that is heard again is not compared with itself.
    assert set(besides(found, first.sha256)) == {STRING}
    withdraw(book, second.id)
    assert {one.rank for one in earlier_sounds(book, 1, ORGAN, [PRINCIPAL])} == {PRINCIPAL}


def test_where_several_stops_sound_nothing_is_looked_for(book: Book, tmp_path: Path) -> None:
    keep(book, tmp_path, PRINCIPAL, 1)
    assert earlier_sounds(book, 1, ORGAN, [PRINCIPAL, "great.octave4"]) == ()
    assert earlier_sounds(book, 1, ORGAN, ["great.twelfth"]) == (), "no other stop of that pitch"


_PRINCIPAL = SMALL[SMALL.index("[[rank]]") : SMALL.index('[[rank]]\nid = "great.octave4"')]
TWO = SMALL + _PRINCIPAL.replace("great.principal8", "great.gamba8").replace("Principal", "Gamba")


def test_the_second_visit_notices_the_other_stop_of_the_pitch(tmp_path: Path) -> None:
    """From sound to question, through the book."""
    organ = read_organ(TWO)

    def recorded(stop: str, seed: int, gain: float) -> Path:
        path = tmp_path / f"{stop}-{seed}-{gain}.wav"
        rendered = rendered_walk(organ, stop, keys=14, seed=seed)
        soundfile.write(path, gain * rendered.samples, 24_000, subtype="PCM_24")
        return path

    with open_book.new(tmp_path / "book") as book:
        kept = book.add_organ(organ.name, TWO)

        def visit(*walked: tuple[str, str, int, float]) -> list[KeptRecording]:
            taken: list[KeptRecording] = []
            at = book.open_visit(1, "", minutes=60.0)
            for stated, stop, seed, gain in walked:
                visit_work.take_in(
                    book, kept, at, [recorded(stop, seed, gain)], [stated],
                    taken=taken.append, air_celsius=18.0, processes=1,
                )  # fmt: skip
            book.close_visit(at.id)
            return taken

        principal, gamba = "great.principal8", "great.gamba8"
        for one in visit((principal, principal, 3, 1.0), (gamba, gamba, 4, 1.0)):
            assert one.walk.believed
            assert one.walk.heard is not None
        right, wrong = visit((principal, principal, 3, 0.9), (principal, gamba, 4, 0.9))
        assert right.walk.believed
        assert not wrong.walk.believed
        assert wrong.walk.heard is not None
        assert wrong.walk.heard.also_sounding[0].stop == gamba
        assert "It sounds as Gamba" in wrong.walk.heard.question
        assert not wrong.walk.measured
        # The tuner knows better, and says so.
        sure = confirm(book, wrong.id)
        assert sure.walk.drawn == (principal,)
        assert sure.walk.believed
        assert len(sure.walk.measured) == 14
        assert sure.walk.heard is not None
        assert "kept because you are sure" in sure.walk.heard.sentence
        with pytest.raises(BookError, match="already has this label"):
            confirm(book, wrong.id)
