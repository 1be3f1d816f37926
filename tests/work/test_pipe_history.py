"""How a pipe beats with its neighbours, worked from frequencies by hand."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.work.chapel import chapel_book, heard_rank
from walkboard.book.cache.seen import SeenBook
from walkboard.organ.model import PipeRef
from walkboard.work import open_book
from walkboard.work.pipe_history import companions, history, neighbours
from walkboard.work.snapshot import opened_to_see, organ_at, pipe_cents

A4 = 34  # number of the pipe of A4 in a rank of 8′ from C2
C4 = 25


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SeenBook]:
    folder = tmp_path_factory.mktemp("beats") / "book"
    chapel_book(folder)
    with opened_to_see(folder) as opened:
        yield opened


def hz(book: SeenBook, rank: str, number: int, *, feet: float = 8.0) -> tuple[float, float]:
    """Where a pipe was heard and its target, in equal temperament from 440 Hz."""
    cents = pipe_cents(book, book.visits(1)[0])[PipeRef(rank, number)].cents
    target = 440.0 * 8.0 / feet * 2.0 ** ((number - A4) / 12.0)
    return target * 2.0 ** (cents / 1200.0), target


def test_intervals_a_tuner_checks_by_beat_as_their_frequencies_say(book: SeenBook) -> None:
    """A fifth beats 3f - 2F, a third 5f - 4F, a fourth 4f - 3F; positive is wide."""
    pipe = PipeRef("great.principal8", C4)
    visit = book.visits(1)[0]
    found = {n.semitones: n for n in neighbours(book, book.organ(1), visit, pipe)}
    assert set(found) == {-12, -7, -5, -4, 4, 5, 7, 12}
    own = hz(book, "great.principal8", C4)
    for semitones, (many, few) in {4: (5, 4), 5: (4, 3), 7: (3, 2), 12: (2, 1)}.items():
        above = hz(book, "great.principal8", C4 + semitones)
        below = hz(book, "great.principal8", C4 - semitones)
        assert found[semitones].pipe.number == C4 + semitones
        assert found[semitones].heard_hz == pytest.approx(few * above[0] - many * own[0], abs=1e-6)
        assert found[semitones].wanted_hz == pytest.approx(few * above[1] - many * own[1], abs=1e-6)
        assert found[-semitones].heard_hz == pytest.approx(few * own[0] - many * below[0], abs=1e-6)


def test_at_the_ends_of_the_rank_there_are_fewer(book: SeenBook) -> None:
    visit = book.visits(1)[0]
    low = neighbours(book, book.organ(1), visit, PipeRef("great.principal8", 1))
    assert [n.semitones for n in low] == [4, 5, 7, 12]
    third_up = neighbours(book, book.organ(1), visit, PipeRef("great.principal8", 5))
    assert [n.pipe.number for n in third_up] == [1, 9, 10, 12, 17]
    high = neighbours(book, book.organ(1), visit, PipeRef("great.octave4", 54))
    assert all(n.semitones < 0 for n in high)
    assert all(abs(n.heard_hz) <= 20.0 for n in high)  # what is faster nobody counts


def test_the_octave_of_the_same_key_is_compared_with_its_fundamental(book: SeenBook) -> None:
    """The Octave's C4 against the second partial of the Principal's; the Twelfth was not heard."""
    visit = book.visits(1)[0]
    found = {n.pipe.rank: n for n in companions(book, visit, PipeRef("great.principal8", C4))}
    assert set(found) == {"great.octave4", "great.trumpet8"}
    own, octave = hz(book, "great.principal8", C4), hz(book, "great.octave4", C4, feet=4.0)
    assert found["great.octave4"].heard_hz == pytest.approx(octave[0] - 2.0 * own[0], abs=1e-6)
    assert found["great.octave4"].wanted_hz == pytest.approx(0.0, abs=1e-6)
    back = {n.pipe.rank: n for n in companions(book, visit, PipeRef("great.octave4", C4))}
    assert back["great.principal8"].heard_hz == pytest.approx(octave[0] - 2.0 * own[0], abs=1e-6)


def test_a_pipe_that_was_not_heard_beats_with_nothing(book: SeenBook) -> None:
    visit, twelfth = book.visits(1)[0], PipeRef("great.twelfth", C4)
    assert neighbours(book, book.organ(1), visit, twelfth) == ()
    assert companions(book, visit, twelfth) == ()
    assert history(book, book.organ(1), twelfth) == ()


def test_the_history_is_newest_first(tmp_path: Path) -> None:
    chapel_book(tmp_path / "book")
    with open_book.opened(tmp_path / "book") as made:
        made.close_visit(1)
        second = made.open_visit(1, "Again")
        with opened_to_see(tmp_path / "book") as seen:
            walk = heard_rank(organ_at(seen, seen.visits(1)[0]), "great.octave4", [1.0, 2.0])
        (tmp_path / "o.wav").write_bytes(b"again")
        made.keep_recording(second.id, tmp_path / "o.wav", walk, program_version="0")
    with opened_to_see(tmp_path / "book") as seen:
        found = history(seen, seen.organ(1), PipeRef("great.octave4", 2))
        assert [at.visit.id for at in found] == [2, 1]
        assert [r.reading.cents_or_none for r in found[0].readings] == [2.0]
        other = history(seen, seen.organ(1), PipeRef("great.octave4", 3))
        assert [at.visit.id for at in other] == [1]
