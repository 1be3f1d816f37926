"""Taking recordings in: whole, once, and again."""

import hashlib
import os
import stat
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.book.making import (
    VERSION,
    a_hold,
    a_reading,
    a_sound,
    a_walk,
)
from tests.readings import measured
from walkboard.book.keeping import Book
from walkboard.book.records import KeptVisit
from walkboard.errors import BookError, InputError


def files(book: Book) -> list[str]:
    return sorted(str(p.relative_to(book.path)) for p in book.sounds.path.rglob("*") if p.is_file())


def test_a_file_lies_under_the_hash_of_its_content(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    # FIPS 180-4's own example message "abc" (NIST, Cryptographic Standards and Guidelines, example
    # values: SHA-256).
    abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    source = a_sound(tmp_path, "Walk.FLAC", b"abc")
    kept = book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    assert (kept.sha256, kept.bytes, kept.file_name) == (abc, 3, "Walk.FLAC")
    assert files(book) == [f"recordings/ba/{abc}.flac"]
    assert book.sound_path(kept.id).read_bytes() == b"abc"
    assert source.read_bytes() == b"abc"


def test_a_file_longer_than_a_piece_is_copied_whole(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    content = np.random.default_rng(2).bytes(3_500_000)
    source = a_sound(tmp_path, "long", content)
    kept = book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    assert kept.sha256 == hashlib.sha256(content).hexdigest()
    assert book.sound_path(kept.id).read_bytes() == content
    assert book.sound_path(kept.id).suffix == ".sound"  # the source had no extension


def test_a_file_is_safe_before_it_has_its_name_and_its_name_after(
    book: Book, visit: KeptVisit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    true_sync, true_replace = os.fsync, Path.replace

    def sync(handle: int) -> None:
        of = os.fstat(handle)
        done.append(f"sync {'folder' if stat.S_ISDIR(of.st_mode) else f'{of.st_size} bytes'}")
        true_sync(handle)

    def rename(path: Path, target: Path) -> Path:
        done.append("rename")
        return true_replace(path, target)

    monkeypatch.setattr(os, "fsync", sync)
    monkeypatch.setattr(Path, "replace", rename)
    source = a_sound(tmp_path, content=b"a walk")
    book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    assert done == ["sync 6 bytes", "rename", "sync folder", "sync folder", "sync folder"]


def test_the_same_recording_again_is_kept_once(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    source = a_sound(tmp_path)
    first = book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    assert book.keep_recording(visit.id, source, a_walk(), program_version=VERSION) == first
    assert book.recordings(visit.id) == (first,)
    assert len(files(book)) == 1


def test_the_same_recording_with_another_label_is_refused_with_the_command_that_helps(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    source = a_sound(tmp_path)
    first = book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    other = replace(a_walk(), drawn=("great.octave2",))
    with pytest.raises(BookError, match=r"as recording 1 \(walk.flac\), with another") as caught:
        book.keep_recording(visit.id, source, other, program_version=VERSION)
    assert book.recordings(visit.id) == (first,)
    assert len(files(book)) == 1
    assert "visit relabel" in caught.value.fix


def test_two_visits_may_share_the_file(book: Book, visit: KeptVisit, tmp_path: Path) -> None:
    source = a_sound(tmp_path)
    book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    book.close_visit(visit.id)
    second = book.open_visit(visit.organ_id, "the next")
    kept = book.keep_recording(second.id, source, a_walk(), program_version=VERSION)
    assert kept.visit_id == second.id
    assert len(files(book)) == 1
    assert book.check() == ()


def test_an_unreadable_source_is_reported_and_nothing_kept(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    with pytest.raises(InputError, match=r"gone\.flac: The recording cannot be read"):
        book.keep_recording(visit.id, tmp_path / "gone.flac", a_walk(), program_version=VERSION)
    with pytest.raises(InputError, match="cannot be read"):
        book.keep_recording(visit.id, tmp_path, a_walk(), program_version=VERSION)
    assert files(book) == []


def test_an_invalid_number_is_refused_with_its_place(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    bad = replace(measured(a_reading(2)), hz=float("nan"))
    walk = a_walk(a_hold(1), a_hold(2, bad))
    with pytest.raises(BookError, match=r"frequency of the reading of great.principal4:2 is nan"):
        book.keep_recording(visit.id, a_sound(tmp_path), walk, program_version=VERSION)
    assert book.recordings(visit.id) == ()
    assert files(book) == []


def test_numbers_from_arrays_are_kept_as_numbers(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    hz, cents, level_db, one = np.float64(131.5), np.float32(0.5), np.int64(-20), np.int32(1)
    odd = replace(a_reading(1), hz=hz, cents=cents, level_db=level_db)  # type: ignore[arg-type]
    hold = replace(a_hold(1, odd), n=one, key_number=one)  # type: ignore[arg-type]
    kept = book.keep_recording(visit.id, a_sound(tmp_path), a_walk(hold), program_version=VERSION)
    (reading,) = book.recording(kept.id).walk.holds[0].readings
    values = measured(reading).hz, measured(reading).cents, reading.level_db
    assert [type(value) for value in values] == [float] * 3
    assert values == (131.5, 0.5, -20.0)
    assert type(book.recording(kept.id).walk.holds[0].n) is int


def test_a_name_that_cannot_be_written_is_reported(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    # A file name of another time, in Latin-1, as Python gives it on a UTF-8 system (PEP 383).
    walk = replace(a_walk(), file="Pr\udce4stant.wav")
    with pytest.raises(BookError, match="contains characters that cannot be stored"):
        book.keep_recording(visit.id, a_sound(tmp_path), walk, program_version=VERSION)
    assert book.recordings(visit.id) == ()
    assert files(book) == []


def test_taking_in_again_supersedes_pipe_by_pipe(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    walk = a_walk(a_hold(1), a_hold(2), a_hold(3))
    kept = book.keep_recording(visit.id, a_sound(tmp_path), walk, program_version="0.1.0")
    old = book.readings(visit.id)
    # The newer program hears the second pipe elsewhere in its hold, and the third not at all.
    moved = replace(a_reading(2, cents=-3.0), start_s=9.0, end_s=11.0)
    newer = a_walk(a_hold(1), a_hold(2, moved))
    again = book.take_in_again(kept.id, newer, program_version="0.2.0")
    new = book.readings(visit.id)

    assert (again.id, again.walk, again.program_version) == (kept.id, newer, "0.2.0")
    assert [r.reading for r in new] == [a_reading(1), moved]
    assert {r.program_version for r in new} == {"0.2.0"}
    superseded = book.every_reading(visit.id)[: len(old)]
    assert [r.reading for r in superseded] == [r.reading for r in old]
    assert [r.superseded_by for r in superseded] == [new[0].id, new[1].id, None]
    assert [r.is_current for r in superseded] == [False, False, False]
    assert [h.program_version for h in book.hearings(kept.id)] == ["0.1.0", "0.2.0"]


def test_of_a_key_held_twice_each_reading_is_replaced_by_its_own(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    first, second = a_hold(1), replace(a_hold(1), n=2, start_s=40.0, end_s=44.0)
    kept = book.keep_recording(
        visit.id, a_sound(tmp_path), a_walk(first, second), program_version="0.1.0"
    )
    newer = a_walk(replace(first, end_s=7.0), replace(second, start_s=40.2))
    book.take_in_again(kept.id, newer, program_version="0.2.0")
    old_first, old_second, new_first, new_second = book.every_reading(visit.id)
    assert (old_first.superseded_by, old_second.superseded_by) == (new_first.id, new_second.id)


def test_of_two_holds_that_overlap_the_one_that_overlaps_more_is_replaced(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    early = replace(a_hold(1), start_s=0.0, end_s=10.0)
    late = replace(a_hold(1), n=2, start_s=8.0, end_s=20.0)
    kept = book.keep_recording(
        visit.id, a_sound(tmp_path), a_walk(early, late), program_version="0.1.0"
    )
    newer = a_walk(replace(a_hold(1), start_s=7.0, end_s=20.0))
    book.take_in_again(kept.id, newer, program_version="0.2.0")
    old_early, old_late, new = book.every_reading(visit.id)
    assert (old_early.superseded_by, old_late.superseded_by) == (None, new.id)


def test_a_hold_elsewhere_in_the_recording_replaces_none(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    source = a_sound(tmp_path)
    kept = book.keep_recording(visit.id, source, a_walk(a_hold(1)), program_version="0.1.0")
    elsewhere = a_walk(replace(a_hold(1), start_s=40.0, end_s=44.0))
    book.take_in_again(kept.id, elsewhere, program_version="0.2.0")
    old, new = book.every_reading(visit.id)
    assert (old.superseded_by, old.superseded_in) == (None, new.hearing_id)


def test_taking_in_again_the_same_changes_nothing(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    kept = book.keep_recording(visit.id, a_sound(tmp_path), a_walk(), program_version=VERSION)
    assert book.take_in_again(kept.id, a_walk(), program_version=VERSION) == kept
    assert book.hearings(kept.id) == (kept,)


def test_a_closed_visit_heard_again_still_shows_its_state_at_closing(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    kept = book.keep_recording(visit.id, a_sound(tmp_path), a_walk(), program_version="0.1.0")
    then = book.readings(visit.id)
    closed = book.close_visit(visit.id)
    book.take_in_again(kept.id, a_walk(a_hold(1)), program_version="9.0.0")
    assert len(book.readings(visit.id)) == 1
    assert book.readings(visit.id, as_of=closed.closed_at) == then
    assert book.visit(visit.id) == closed


def test_a_missing_or_changed_file_is_reported_and_restored(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    source = a_sound(tmp_path)
    kept = book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    path = book.sound_path(kept.id)
    path.unlink()
    with pytest.raises(BookError, match=r"file of recording 1 \(walk.flac\) is missing"):
        book.sound_path(kept.id)
    assert [p.what for p in book.check()] == ["The file of a recording is missing."]
    assert book.recording(kept.id) == kept  # its readings are all there

    assert book.restore_sound(source) == path
    assert book.check() == ()
    path.write_bytes(b"rotten")
    assert [p.what for p in book.check()] == ["The file of a recording has changed."]
    book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    assert book.check() == ()


def test_a_file_of_no_recording_is_not_restored(book: Book, tmp_path: Path) -> None:
    with pytest.raises(BookError, match=r"has the content of other\.wav"):
        book.restore_sound(a_sound(tmp_path, "other.wav"))
    assert files(book) == []
