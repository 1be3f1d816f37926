"""``survey-plan``, ``play-walk`` and ``listen --played`` as a user types them."""

import json
from pathlib import Path

import pytest

from tests.commands import Run
from walkboard.listening.readings import Measured, Withheld
from walkboard.listening.types import ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.survey.hear.to_json import walk_to_json


def test_a_plan_is_printed_written_and_made_for_the_machine(
    run: Run, organ_file: Path, tmp_path: Path
) -> None:
    pdf, folder = tmp_path / "walks.pdf", tmp_path / "walks"
    ran = run("survey-plan", organ_file, "--pdf", pdf, "--midi", folder)
    assert ran.code == 0
    assert "Principal 8′, Octave 4′ and Twelfth 2⅔′" in ran.out
    assert pdf.read_bytes().startswith(b"%PDF")
    files = sorted(folder.glob("*.mid"))
    assert files
    assert files[0].read_bytes().startswith(b"MThd")


def test_json_holds_the_walks(run: Run, organ_file: Path) -> None:
    ran = run("survey-plan", organ_file, "--keys", "C,F#", "--hold", 3, "--json")
    assert ran.json["hold_s"] == 3.0
    assert ran.json["alone_s"] == 2.0
    assert {key[:-1] for walk in ran.json["walks"] for key in walk["keys"]} == {"C", "F#"}
    assert ran.json["bound_minutes"] == pytest.approx(ran.json["minutes"], rel=1e-4)


def test_unread_pipes_are_walked_again_each_stop_alone(
    run: Run, organ_file: Path, tmp_path: Path
) -> None:
    """Three ranks at C2 and C#2: of the first hold one pipe was read, of the second two."""
    read = [("great.principal8", True, True), ("great.octave4", False, True),
            ("great.twelfth", False, False)]  # fmt: skip
    holds = [
        Hold(
            n + 1, Key.parse("C2").up(n), n + 1, 5.0 * n, 5.0 * n + 4.0,
            tuple(
                Measured(
                    pipe=PipeRef(rank, n + 1), hz=100.0, sigma_cents=0.1, cents=0.0,
                    start_s=5.0 * n, end_s=5.0 * n + 4.0,
                )
                if has[n]
                else Withheld(
                    pipe=PipeRef(rank, n + 1), start_s=5.0 * n, end_s=5.0 * n + 4.0,
                    flags=(ReadingFlag.MERGED,),
                )
                for rank, *has in read
            ),
        )
        for n in range(2)
    ]  # fmt: skip
    walk = HeardWalk(
        "walk.flac", SoundInfo(10.0, 48_000, 1, "FLAC"), "Invented chapel",
        tuple(rank for rank, *_ in read), 18.0, tuple(holds), (),
    )  # fmt: skip
    path = tmp_path / "walk.json"
    path.write_text(json.dumps(walk_to_json(walk)), encoding="utf-8")
    ran = run("survey-plan", organ_file, "--not-read", path, "--json")
    assert [(w["drawn"], w["keys"]) for w in ran.json["walks"]] == [
        (["great.twelfth"], ["C2", "C#2"]), (["great.octave4"], ["C2"]),
    ]  # fmt: skip
    assert {w["hold_s"] for w in ran.json["walks"]} == {2.0}
    both = run("survey-plan", organ_file, "--not-read", path, "--pipes", "great.twelfth")
    assert both.code == 2
    assert "--not-read already says" in both.err


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["--keys", "H"], "names no keys"),
        (["--pipes", "great.kazoo8:1"], "no rank"),
        (["--hold", "0"], "No key can be held like that"),
        (["--together", "great.octave4"], "not a pair of ranks"),
        (["--minutes", "1"], "minutes more"),
        (["--channel", "17", "--midi", "FOLDER"], "no channel 17"),
    ],
)
def test_impossible_requests_are_refused(
    run: Run, organ_file: Path, tmp_path: Path, words: list[str], what: str
) -> None:
    ran = run("survey-plan", organ_file, *(w.replace("FOLDER", str(tmp_path)) for w in words))
    assert ran.code == 2
    assert what in ran.err


def test_what_was_played_must_be_a_midi_file(run: Run, organ_file: Path, walk_file: Path) -> None:
    ran = run(
        "listen", walk_file, "--organ", organ_file, "--drawn", "great.principal8",
        "--played", organ_file,
    )  # fmt: skip
    assert ran.code == 2
    assert "not a Standard MIDI File" in ran.err


def test_a_missing_midi_port_is_reported_without_a_stack(run: Run) -> None:
    if Path("/dev/snd/seq").exists():
        pytest.skip("this machine has MIDI")
    ran = run("play-walk")
    assert ran.code == 2
    assert "MIDI" in ran.err
