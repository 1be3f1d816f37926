"""Second thoughts by commands: labels, withdrawals, minutes, conditions; odd input and output."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands import Must, Run

ROOT = Path(__file__).parents[2]


@pytest.fixture
def book(must: Must, organ_file: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "book"
    must("book", "new", folder)
    must("book", "add", folder, organ_file)
    must("visit", "open", folder, "--minutes", 60, "--air", 37, "--humidity", 55)
    return folder


def test_a_wrong_label_is_put_right_and_a_bad_recording_withdrawn(
    run: Run, must: Must, book: Path, walk_file: Path
) -> None:
    must("visit", "take", book, walk_file, "--drawn", "great.principal8", "--air-now", 18)
    must("visit", "plan", book)
    twice = run("visit", "take", book, walk_file, "--drawn", "great.principal8", "--air-now", 19)
    assert twice.code == 2
    assert "walkboard visit relabel" in twice.err
    said = must("visit", "relabel", book, 1, "--air-now", 19, "--why", "thermometer in the sun")
    assert "Recording 1 is now great.principal8: 9 holds, 9 readings" in said
    (listed,) = run("visit", "recordings", book, "--json").json["recordings"]
    assert (listed["air_celsius"], listed["change"], listed["why"]) == (
        19.0, "relabelled", "thermometer in the sun",
    )  # fmt: skip
    assert "already has this label" in run("visit", "relabel", book, 1, "--air-now", 19).err
    assert "no description 7" in run("visit", "relabel", book, 1, "--description", 7).err
    assert run("visit", "relabel", book, 1, "--drawn", "great.nothing").code == 2
    assert run("visit", "relabel", book, 9, "--air-now", 19).code == 2
    assert "has no plan" in run("sheet", "worklist", book, "--to", book / "w.pdf").err

    must("visit", "withdraw", book, 1, "--why", "the blower was running down")
    assert run("visit", "readings", book, "--json").json["readings"] == []
    assert "withdrawn  the blower was running down" in must("visit", "recordings", book)
    assert run("book", "show", book, "--json").json["organs"][0]["visits"][0]["recordings"] == 0
    must("visit", "take", book, walk_file, "--drawn", "great.principal8", "--air-now", 18)
    assert len(run("visit", "readings", book, "--json").json["readings"]) == 9


def test_a_visit_and_its_conditions_are_corrected(run: Run, must: Must, book: Path) -> None:
    must("visit", "conditions", book, "--air", 18.5)
    must("visit", "correct", book, "--minutes", 90, "--purpose", "Easter", "--why", "a funeral")
    must("visit", "correct", book, "--conditions", 1, "--air", 17)
    assert "no conditions 3" in run("visit", "correct", book, "--conditions", 3, "--air", 17).err
    assert "nothing to correct" in run("visit", "correct", book, "--why", "x").err
    from walkboard.work import open_book

    with open_book.opened(book) as opened:
        visit = opened.visit(1)
    assert (visit.minutes, visit.purpose) == (90.0, "Easter")
    assert [set(c.air_celsius.values()) for c in visit.conditions] == [{17.0}, {18.5}]
    assert visit.conditions[0].humidity == 0.55  # what is not given stays


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["visit", "open", "BOOK", "--minutes", -20], "A visit of -20 minutes is out of range"),
        (["visit", "open", "BOOK", "--minutes", "nan"], "is out of range"),
        (["visit", "open", "BOOK", "--humidity", 0.55], "Write 55 for 55 %"),
        (["visit", "open", "BOOK", "--humidity", 300], "from 1 to 100 %"),
        (["visit", "correct", "BOOK", "--minutes", 0], "is out of range"),
        (["visit", "plan", "BOOK", "--minutes", -5], "A plan of -5 minutes is out of range"),
        (["event", "add", "BOOK", "e", "--at", "2031-10-05 10:30", "--air", 300], "Air of 300 °C"),
        (["event", "add", "BOOK", "e", "--at", "0001-10-05 10:30"], "The year of an event"),
        (["event", "add", "BOOK", "e", "--at", "9999-10-05 10:30"], "The year of an event"),
        (["event", "add", "BOOK", "e", "--at", "soon"], "not a day and time"),
        (["fault", "report", "BOOK"], "says nothing"),
        (["fault", "report", "BOOK", "  "], "says nothing"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_kept(
    run: Run, book: Path, words: list[object], said: str
) -> None:
    run("visit", "close", book)
    before = run("book", "show", book, "--json").json
    ran = run(*(book if word == "BOOK" else word for word in words))
    assert ran.code == 2
    assert said in ran.err or words[1] == "plan"
    assert run("book", "show", book, "--json").json == before
    assert run("event", "list", book, "--json").json["events"] == []


def test_the_same_fault_is_reported_once(must: Must, book: Path) -> None:
    report = ("fault", "report", book, "moans", "--kind", "cipher", "--stop", "great.principal8")
    assert "is in the book." in must(*report)
    assert "is in the book already" in must(*report)
    must("fault", "mend", book, 1)
    assert "Fault 2 is in the book." in must(*report)  # it came back


def test_leftovers_are_listed_and_removed(run: Run, must: Must, book: Path) -> None:
    left = book.parent / f".copy.{'a' * 32}.new"
    left.mkdir()
    (left / "half").write_bytes(bytes(2_500_000))
    assert run("book", "check", book).code == 1
    assert "2.5 MB" in must("book", "clean", book)
    assert left.exists()
    copied = run("book", "copy", book, book.parent / "copy")
    assert (copied.code, "book clean" in copied.err) == (0, True)
    assert "Removed 1" in must("book", "clean", book, "--remove")
    assert not left.exists()
    assert "There are no leftovers" in must("book", "clean", book)


def test_an_invalid_port_is_refused(run: Run, book: Path) -> None:
    ran = run("desk", book, "--port", 99_999)
    assert ran.code == 2
    assert "65535" in ran.err


WALKBOARD = [sys.executable, "-c", "from walkboard.cli.start import start; start()"]


def test_a_reader_that_has_seen_enough_is_no_failure(book: Path) -> None:
    command = [*WALKBOARD, "book", "show", "--json", str(book)]
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        process.stdout.close()
        assert process.stderr is not None
        said = process.stderr.read()
    assert (process.returncode, said) == (0, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_output_that_finds_no_room_says_so(book: Path) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [*WALKBOARD, "book", "show", str(book)],
            cwd=ROOT, stdout=full, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr == "The output could not be written: no space left.\n"


_WAITING = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # a background job starts with it ignored
from walkboard.cli import main as cli
@cli.app.command("wait")
def wait():
    import time
    print("ready", flush=True)
    while True:
        time.sleep(0.05)
sys.argv = ["walkboard", "wait"]
from walkboard.cli.start import start
start()
"""


@pytest.mark.skipif(os.name != "posix", reason="sends a signal to a process")
def test_ctrl_c_ends_with_one_sentence() -> None:
    with subprocess.Popen(
        [sys.executable, "-c", _WAITING],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        process.send_signal(signal.SIGINT)
        try:
            _, said = process.communicate(timeout=60)
        except subprocess.TimeoutExpired:
            process.kill()
            raise
    assert (process.returncode, said) == (130, "Interrupted; what was stored before is safe.\n")


@pytest.mark.skipif(os.name != "posix", reason="closes numbered files")
@pytest.mark.parametrize("closed", [">&-", "2>&-", "<&- >&- 2>&-"])
def test_closed_output_or_input_is_no_failure(book: Path, closed: str) -> None:
    words = [*WALKBOARD, "visit", "note", str(book), f"said with {closed}"]
    done = subprocess.run(
        ["sh", "-c", f'"$@" {closed}', "sh", *words], cwd=ROOT, capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(os.name != "posix", reason="closes numbered files")
def test_no_file_of_ours_gets_the_number_of_a_closed_output() -> None:
    program = (
        "from walkboard.cli.start import open_streams; import os, sys; open_streams();"
        "file = os.open(os.devnull, os.O_RDONLY); sys.exit(0 if file > 2 else 3)"
    )
    words = ["sh", "-c", '"$@" <&- >&- 2>&-', "sh", sys.executable, "-c", program]
    assert subprocess.run(words, cwd=ROOT, check=False).returncode == 0


_LOADING = """
import os, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
class Slow:
    def find_spec(self, name, path=None, target=None):
        if name == "typer":
            os.kill(os.getpid(), signal.SIGINT)  # Ctrl-C while the commands are loaded
sys.meta_path.insert(0, Slow())
from walkboard.cli.start import start
start()
"""


@pytest.mark.skipif(os.name != "posix", reason="sends a signal to a process")
def test_ctrl_c_while_it_starts_ends_with_one_sentence() -> None:
    done = subprocess.run(
        [sys.executable, "-c", _LOADING], cwd=ROOT, capture_output=True, text=True, check=False
    )
    said = (done.returncode, done.stderr)
    assert said == (130, "Interrupted; what was stored before is safe.\n")


def test_an_export_to_a_folder_that_is_not_there_names_the_place(run: Run, book: Path) -> None:
    ran = run("book", "export", book, book / "nowhere" / "book.json")
    assert ran.code == 2
    assert "nowhere" in ran.err
    assert "No such file or directory" in ran.err
    assert "moved" not in ran.err


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_book_is_not_imported_from_a_pipe_that_waits_forever(run: Run, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.json")
    ran = run("book", "import", tmp_path / "pipe.json", tmp_path / "book")
    assert ran.code == 2
    assert "it is not a file" in ran.err
