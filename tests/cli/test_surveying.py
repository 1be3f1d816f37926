"""``survey-plan``, ``play-walk`` and ``listen --played`` as a user types them."""

from pathlib import Path

import pytest

from tests.commands import Run


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


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["--keys", "H"], "names no keys"),
        (["--pipes", "great.kazoo8:1"], "no rank"),
        (["--hold", "0"], "No key is held so"),
        (["--together", "great.octave4"], "no pair of ranks"),
        (["--minutes", "1"], "minutes more"),
        (["--channel", "17", "--midi", "FOLDER"], "no channel 17"),
    ],
)
def test_what_cannot_be_is_said(
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
    assert "no Standard MIDI File" in ran.err


def test_a_missing_midi_port_is_told_without_a_stack(run: Run) -> None:
    if Path("/dev/snd/seq").exists():
        pytest.skip("this machine has MIDI")
    ran = run("play-walk")
    assert ran.code == 2
    assert "MIDI" in ran.err
