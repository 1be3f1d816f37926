"""A book taken to church and brought back, as its use cases do it."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.book.making import DESCRIPTION, PRINCIPAL, VERSION, a_sound, a_walk, old_tables
from tests.postgresql import Server, name_of
from walkboard.book.database.address import read_address
from walkboard.book.files.folder import DATABASE, LIVE
from walkboard.book.records import Tick
from walkboard.book.rows.acting import recording_as
from walkboard.errors import BookError
from walkboard.organ.model import PipeRef
from walkboard.work import open_book
from walkboard.work.take_along import bring_back, take_along


@pytest.fixture
def office(tmp_path: Path) -> Path:
    """A book of two organs, one with a recording."""
    folder = tmp_path / "office"
    with open_book.new(folder) as book:
        book.name_device("Office")
        hall = book.add_organ("Harbour Hall", DESCRIPTION)
        book.add_organ("Mill Chapel", DESCRIPTION.replace("Harbour Hall", "Mill Chapel"))
        visit = book.open_visit(hall.id, "spring")
        book.keep_recording(visit.id, a_sound(tmp_path), a_walk(), program_version=VERSION)
        book.close_visit(visit.id)
    return folder


def visit_in(folder: Path, organ: str, purpose: str) -> None:
    with open_book.opened(folder) as book:
        visit = book.open_visit(book.organ_named(organ).id, purpose)
        book.close_visit(visit.id)


def purposes(folder: Path, organ: str) -> set[str]:
    with open_book.opened(folder) as book:
        return {visit.purpose for visit in book.visits(book.organ_named(organ).id)}


def test_the_organs_that_were_asked_for_come_along(office: Path, tmp_path: Path) -> None:
    taken = take_along(office, tmp_path / "away", organs=["mill chapel"], name="Chapel laptop")
    assert (taken.device, taken.was_there) == ("Chapel laptop", False)
    with open_book.opened(tmp_path / "away") as away:
        assert [organ.name for organ in away.organs()] == ["Mill Chapel"]
    with pytest.raises(BookError, match="no organ 'St Nowhere'"):
        take_along(office, tmp_path / "other", organs=["St Nowhere"])
    assert not (tmp_path / "other").exists()


def test_recordings_come_along_only_if_asked_for(office: Path, tmp_path: Path) -> None:
    with open_book.opened(office) as home:
        recording = home.recordings(1)[0]
    for with_sound in (False, True):
        folder = tmp_path / f"away-{with_sound}"
        take_along(office, folder, with_sound=with_sound)
        with open_book.opened(folder) as away:
            assert away.recordings(1)[0].walk == recording.walk
            assert bool(list(away.sounds.named())) == with_sound
            assert away.check() == ()
            # What this copy records itself must be there.
            visit = away.open_visit(1, "summer")
            own = a_sound(tmp_path, content=b"new")
            kept = away.keep_recording(visit.id, own, a_walk(), program_version=VERSION)
            away.sound_path(kept.id).unlink()
            assert [problem.what for problem in away.check()] == [
                "The file of a recording is missing."
            ]


def test_work_of_both_is_in_both_after_a_round(office: Path, tmp_path: Path) -> None:
    away = tmp_path / "away"
    take_along(office, away, organs=["Harbour Hall"])
    visit_in(away, "Harbour Hall", "away")
    visit_in(office, "Harbour Hall", "at home")
    visit_in(office, "Mill Chapel", "elsewhere")
    would = bring_back(away, office, dry_run=True)
    assert purposes(office, "Harbour Hall") == {"spring", "at home"}
    done = bring_back(away, office)
    assert [o.facts for o in done.organs] == [o.facts for o in would.organs]
    assert [o.facts for o in done.organs] == [{"visit": 1, "visit_closing": 1}]
    assert done.organs[0].visits == {2: 4}
    assert bring_back(away, office).organs == ()
    again = take_along(office, away)  # brings the folder up to date, with its own organs
    assert again.was_there
    for folder in (office, away):
        assert purposes(folder, "Harbour Hall") == {"spring", "away", "at home"}
    with open_book.opened(away) as book:
        assert [organ.name for organ in book.organs()] == ["Harbour Hall"]


def test_new_recordings_come_back_with_their_sound(office: Path, tmp_path: Path) -> None:
    away = tmp_path / "away"
    take_along(office, away, organs=["Mill Chapel"])
    with open_book.opened(away) as book:
        visit = book.open_visit(1, "summer")
        book.keep_recording(
            visit.id, a_sound(tmp_path, content=b"new"), a_walk(), program_version=VERSION
        )
    bring_back(away, office)
    with open_book.opened(office) as home:
        visit = home.visits(2)[0]
        assert home.sound_path(home.recordings(visit.id)[0].id).read_bytes() == b"new"
        assert home.check() == ()


def test_a_plain_copy_of_the_folder_can_be_brought_back(office: Path, tmp_path: Path) -> None:
    away = tmp_path / "away"
    shutil.copytree(office, away)  # which then writes as the same device
    for folder in (office, away):
        with open_book.opened(folder) as book:
            book.open_visit(1, f"in {folder.name}")
    bring_back(away, office)
    bring_back(office, away)
    assert purposes(office, "Harbour Hall") == purposes(away, "Harbour Hall")
    for one, other in ((office, away), (away, office)):
        assert bring_back(one, other, dry_run=True).organs == ()


def test_an_older_copy_is_brought_back_and_stays_as_it_is(
    office: Path, old_copies: tuple[Path, Path]
) -> None:
    home, away = old_copies
    before = (away / DATABASE).read_bytes()
    done = bring_back(away, home)
    assert [organ.facts for organ in done.organs] == [{"visit": 1, "note": 1}]
    assert (away / DATABASE).read_bytes() == before
    assert purposes(home, "Harbour Hall") == {"spring", "in home", "in away"}
    bring_back(home, office)  # another firm's book: both its organs and these are kept
    with open_book.opened(office) as book:
        names = [organ.name for organ in book.organs()]
    assert names.count("Harbour Hall") == 2


@pytest.fixture
def old_copies(tmp_path: Path) -> tuple[Path, Path]:
    """A book of an older program, and a copy of its folder; each has gone on separately."""
    at = "2031-03-01T09:00:0{}.000000+00:00"
    home, away = tmp_path / "home", tmp_path / "old-away"
    (home / "recordings").mkdir(parents=True)
    old_tables(home, "0008")
    then, opened, closed = (at.format(second) for second in range(3))
    organ = f"INSERT INTO organ VALUES (1, '{then}')"
    description = f"INSERT INTO description VALUES (1, 1, 1, 'Harbour Hall', '', '{then}')"
    visit = f"INSERT INTO visit VALUES (1, 1, 1, 'spring', NULL, '{opened}', '{closed}', 'done')"
    run(home, [organ, description, visit])
    shutil.copytree(home, away)
    for folder, second in ((home, 3), (away, 4)):
        visit = (
            f"INSERT INTO visit VALUES (2, 1, 1, 'in {folder.name.removeprefix('old-')}', NULL,"
            f" '{at.format(second)}', NULL, '')"
        )
        note = f"INSERT INTO note VALUES (1, 2, 'in {folder.name}', '{at.format(second)}')"
        run(folder, [visit, note])
    return home, away


def run(folder: Path, statements: list[str]) -> None:
    with closing(sqlite3.connect(folder / DATABASE)) as connection, connection:
        for statement in statements:
            connection.execute(statement)


@pytest.mark.sqlite
def test_a_newer_copy_is_refused(office: Path, tmp_path: Path) -> None:
    away = tmp_path / "away"
    take_along(office, away)
    run(away, ["UPDATE alembic_version SET version_num = '0999'"])
    with pytest.raises(BookError, match=r"newer version \(0999\).*Update the program here"):
        bring_back(away, office)


def test_a_live_session_is_ended_before_the_copy_comes_back(office: Path, tmp_path: Path) -> None:
    away = tmp_path / "away"
    take_along(office, away)
    (away / LIVE).mkdir()
    (away / LIVE / "session.jsonl").write_text("{}\n")
    with pytest.raises(BookError, match="live session's recording is not in this copy"):
        bring_back(away, office)


def test_a_book_is_not_brought_back_to_itself(office: Path) -> None:
    with pytest.raises(BookError, match="same folder twice"):
        bring_back(office, office)


def test_who_noted_a_fact_comes_back_with_it(office: Path, tmp_path: Path) -> None:
    away = tmp_path / "away"
    take_along(office, away)
    with open_book.opened(away) as book:
        tom = book.add_person("Tom Tuner")
        with recording_as(tom.uid):
            visit = book.open_visit(1, "summer")
            tick = Tick("t1", visit.id, PipeRef(PRINCIPAL, 1), "done", "", open_book.now(), "")
            book.set_tick(tick)
    (news,) = bring_back(away, office).organs
    with open_book.opened(office) as home:
        found = home.recorded_at_visit(news.visits[visit.id])
    assert [(one.name, one.kind) for one in found] == [
        ("Tom Tuner", "opened"),
        ("Tom Tuner", "tick"),
    ]


def test_a_backup_put_back_on_a_server_is_brought_back_from_there(
    office: Path, tmp_path: Path, postgresql: Server
) -> None:
    """Its records are in a database, so there is no file to copy; the folder names it."""
    away = postgresql.empty_book(tmp_path / "restored")
    with open_book.opened(away) as book, open_book.opened(office) as home:
        book.merge(home)
    visit_in(away, "Harbour Hall", "away")
    assert bring_back(away, office).facts == 2
    assert purposes(office, "Harbour Hall") == {"spring", "away"}
    other = tmp_path / "other"
    shutil.copytree(away, other)
    if read_address(other) == read_address(away):
        with pytest.raises(BookError, match="Both folders are of the same database"):
            bring_back(other, away)
    postgresql.run("UPDATE alembic_version SET version_num = '0014'", name_of(away))
    with pytest.raises(BookError, match=r"older version \(0014\).*walkboard book show"):
        bring_back(away, office)
