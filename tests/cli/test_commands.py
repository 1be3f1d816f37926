"""The commands of the interface: what they print, and how they end."""

import json
import re
from pathlib import Path

import pytest

from tests.commands import Run
from walkboard import __version__


def test_every_command_has_help_with_an_example(run: Run) -> None:
    for words in (
        ["organ", "check"], ["organ", "example"], ["organ", "schema"], ["targets"], ["listen"],
        ["survey-plan"], ["play-walk"],
        ["plan"], ["demo"], ["book", "new"], ["book", "add"], ["book", "show"], ["book", "check"],
        ["book", "search"], ["book", "export"], ["book", "import"], ["book", "copy"],
        ["visit", "open"], ["visit", "conditions"], ["visit", "take"], ["visit", "readings"],
        ["visit", "state"], ["visit", "plan"], ["visit", "tick"], ["visit", "note"],
        ["visit", "close"], ["visit", "list"], ["fault", "report"], ["fault", "list"],
        ["fault", "mend"], ["sheet", "worklist"], ["sheet", "report"],
        ["event", "add"], ["event", "use"], ["event", "cancel"], ["event", "list"],
        ["event", "take"], ["event", "give"],
        ["outlook"], ["first-keys"], ["next-keys"], ["readiness"],
        ["weight", "set"], ["weight", "list"], ["weight", "explain"],
    ):  # fmt: skip
        ran = run(*words, "--help")
        assert ran.code == 0
        assert "Example: walkboard" in ran.out, words


def test_the_version_is_reported(run: Run) -> None:
    assert run("--version").out.strip() == f"walkboard {__version__}"


def test_a_sound_description_gives_its_census(run: Run, organ_file: Path) -> None:
    ran = run("organ", "check", organ_file)
    assert ran.code == 0
    assert "216" in ran.out  # four ranks of 54 pipes
    as_json = run("organ", "check", organ_file, "--json").json
    assert as_json["ok"] is True


def test_a_faulty_description_ends_with_one_and_names_each_line(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "faulty.toml"
    path.write_text('format = 1\nname = "X"\ncolour = "red"\n', encoding="utf-8")
    ran = run("organ", "check", path)
    assert ran.code == 1
    assert "line 3" in ran.out
    assert "colour" in ran.out
    as_json = run("organ", "check", path, "--json")
    assert as_json.code == 1
    assert any(p["line"] == 3 for p in as_json.json["problems"])


@pytest.mark.parametrize("which", ["village", "hall"])
def test_the_examples_pass_their_own_check(run: Run, tmp_path: Path, which: str) -> None:
    path = tmp_path / "example.toml"
    path.write_text(run("organ", "example", which).out, encoding="utf-8")
    assert run("organ", "check", path).code == 0


def test_the_schema_is_json(run: Run) -> None:
    assert run("organ", "schema").json["type"] == "object"


def test_targets_at_the_pitch_temperature_are_the_scale_itself(run: Run, organ_file: Path) -> None:
    """A4 of an 8′ at A4 = 440 Hz is 440 Hz; of a 2⅔′ three times that (ISO 16:1975)."""
    keys = run("targets", organ_file, "--stop", "great.principal8", "--json").json["keys"]
    (a4,) = [key for key in keys if key["key"] == "A4"]
    assert a4["pipes"][0]["hz"] == pytest.approx(440.0, abs=1e-9)
    keys = run("targets", organ_file, "--stop", "great.twelfth", "--json").json["keys"]
    (a4,) = [key for key in keys if key["key"] == "A4"]
    assert a4["pipes"][0]["hz"] == pytest.approx(1320.0, abs=1e-9)


def test_listen_and_plan_need_no_book(
    run: Run, organ_file: Path, walk_file: Path, tmp_path: Path
) -> None:
    ran = run(
        "listen", walk_file, "--organ", organ_file, "--drawn", "great.principal8", "--air", "18",
        "--json",
    )  # fmt: skip
    assert ran.code == 0, ran.err
    heard = ran.json
    assert heard["format"] == 1
    assert heard["sound"]["file"] == "principal.flac"
    assert heard["drawn"] == ["great.principal8"]
    assert heard["silent_keys"] == ["E3"]
    assert [hold["key"] for hold in heard["holds"]] == [
        "C3", "C#3", "D3", "D#3", "F3", "F#3", "G3", "G#3", "A3",
    ]  # fmt: skip
    readings = tmp_path / "readings.json"
    readings.write_text(ran.out, encoding="utf-8")
    ran = run("plan", "--organ", organ_file, "--readings", readings, "--minutes", "6", "--json")
    assert ran.code == 0, ran.err
    plan = ran.json
    assert plan["minutes_used"] <= 6.0
    assert plan["cost_bound"] <= plan["cost_after"] <= plan["cost_before"]
    assert plan["items"]
    assert {item["move"] for item in plan["items"]} <= {"sharper", "flatter"}
    for item in plan["items"]:
        assert (item["cents"] > 0) == (item["move"] == "flatter")


def test_listen_prints_a_table_a_person_can_read(
    run: Run, organ_file: Path, walk_file: Path
) -> None:
    ran = run("listen", walk_file, "--organ", organ_file, "--drawn", "great.principal8")
    assert ran.code == 0
    assert re.search(r"C3 .*great\.principal8:13", ran.out)
    assert "Held, and nothing sounded: E3." in ran.out


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "empty"),
        (b"this is a letter, not a sound\n" * 50, "This is a text file"),
    ],
)
def test_what_is_no_sound_ends_with_two(
    run: Run, organ_file: Path, tmp_path: Path, content: bytes, message: str
) -> None:
    path = tmp_path / "walk.wav"
    path.write_bytes(content)
    ran = run("listen", path, "--organ", organ_file, "--drawn", "great.principal8", "--json")
    assert ran.code == 2
    assert ran.out == ""
    assert "walk.wav" in ran.err
    assert re.search(message, ran.err)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--drawn", "great.tuba8"], "no stop 'great.tuba8'"),
        (["--drawn", ","], "No stop is drawn"),
        (["--drawn", "great.principal8", "--air", "180"], "180"),
    ],
)
def test_a_wrong_word_ends_with_two(
    run: Run, organ_file: Path, walk_file: Path, words: list[str], message: str
) -> None:
    ran = run("listen", walk_file, "--organ", organ_file, *words)
    assert ran.code == 2
    assert message in ran.err


def test_missing_files_are_named(run: Run, organ_file: Path, tmp_path: Path) -> None:
    gone = tmp_path / "gone.flac"
    ran = run("listen", gone, "--organ", organ_file, "--drawn", "great.principal8")
    assert ran.code == 2
    assert "gone.flac" in ran.err
    assert "no such file" in ran.err
    assert run("organ", "check", tmp_path / "gone.toml").code == 2


def test_readings_of_another_organ_are_refused(run: Run, organ_file: Path, tmp_path: Path) -> None:
    path = tmp_path / "other.json"
    path.write_text(
        json.dumps(
            {
                "format": 1,
                "sound": {"file": "w.flac", "seconds": 1.0, "sample_rate": 48000},
                "organ": "Another organ",
                "drawn": ["great.principal8"],
                "air_celsius": None,
                "holds": [],
                "silent_keys": [],
            }
        ),
        encoding="utf-8",
    )
    ran = run("plan", "--organ", organ_file, "--readings", path, "--minutes", "60")
    assert ran.code == 2
    assert "Another organ" in ran.err
