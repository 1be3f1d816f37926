"""Plans by commands: demands, events with their music, weights changed and explained."""

from __future__ import annotations

import json
import re
from pathlib import Path

import mido
import numpy as np
import pytest

from tests.commands import Must, Run
from tests.survey.organs import SMALL
from walkboard.listening.readings import Measured
from walkboard.listening.types import SoundInfo
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.survey.hear.to_json import walk_to_json
from walkboard.work import open_book

ORGAN = read_organ(SMALL)


def a_walk(organ: Organ, stop: str, seed: int, off_cents: float = 0.0) -> HeardWalk:
    """Every key of a stop heard, a season later; as ``listen`` gives it."""
    rng = np.random.default_rng(seed)
    holds = []
    for n in range(54):
        pipe = PipeRef(stop, n + 1)
        cents = off_cents + rng.normal(0.0, 2.0) + 12.0 * (rng.random() < 0.1)
        hz = target_hz(organ, pipe, 18.0) * 2.0 ** (cents / 1200.0)
        reading = Measured(
            pipe=pipe,
            hz=hz,
            sigma_cents=0.1,
            cents=cents,
            level_db=-25.0,
            start_s=4.0 * n,
            end_s=4.0 * n + 3.0,
            wander_cents=0.1,
        )
        holds.append(Hold(n + 1, Key(36 + n), n + 1, 4.0 * n, 4.0 * n + 3.0, (reading,), 0.99))
    sound = SoundInfo(220.0, 48_000, 1, "FLAC")
    return HeardWalk(f"{stop}.flac", sound, organ.name, (stop,), 18.0, tuple(holds), ())


@pytest.fixture
def readings(tmp_path: Path) -> list[Path]:
    paths = []
    for seed, (stop, off) in enumerate(
        [("great.principal8", 0.0), ("great.octave4", 0.0), ("great.trumpet8", -6.0)]
    ):
        path = tmp_path / f"{stop}.json"
        path.write_text(json.dumps(walk_to_json(a_walk(ORGAN, stop, seed, off))), "utf-8")
        paths.append(path)
    return paths


@pytest.fixture
def music(tmp_path: Path) -> Path:
    song = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    for key in (60, 62, 64, 65):
        track.append(mido.Message("note_on", note=key, velocity=64, time=0))
        track.append(mido.Message("note_off", note=key, velocity=64, time=1920))
    song.tracks.append(track)
    song.save(tmp_path / "hymn.mid")
    return tmp_path / "hymn.mid"


def plan(run: Run, organ_file: Path, readings: list[Path], *more: object):
    given = [word for path in readings for word in ("--readings", path)]
    return run("plan", "--organ", organ_file, *given, "--minutes", 40, *more, "--json")


@pytest.mark.parametrize("figure", ["NaN", "Infinity", "1e999"])
@pytest.mark.parametrize("field", ["cents", "sigma_cents", "level_db"])
def test_readings_that_are_no_numbers_are_refused_with_the_file(
    run: Run, organ_file: Path, readings: list[Path], field: str, figure: str
) -> None:
    bad = readings[1]
    text, found = re.subn(
        rf'"{field}": -?[0-9.]+', f'"{field}": {figure}', bad.read_text(encoding="utf-8"), count=1
    )
    assert found == 1
    bad.write_text(text, encoding="utf-8")
    ran = plan(run, organ_file, readings)
    assert ran.code == 2
    said = " ".join(ran.err.split())
    assert bad.name in said.replace(" ", "")
    assert f"holds.0.readings.0.{field}: Input should be a finite number" in said
    assert "listen" in said


def test_demands_by_options(run: Run, organ_file: Path, readings: list[Path]) -> None:
    free = plan(run, organ_file, readings).json
    first = free["items"][0]["pipe"]
    asked = plan(
        run, organ_file, readings,
        "--must", "great.octave4:30", "--must-not", first, "--out-of-reach", "great.trumpet8",
        "--within", "great.principal8=4", "--tie", "0.5", "--event-air", "20",
    ).json  # fmt: skip
    pipes = {item["pipe"] for item in asked["items"]}
    assert "great.octave4:30" in pipes
    assert first not in pipes
    assert not any(pipe.startswith("great.trumpet8") for pipe in pipes)
    assert asked["minutes_used"] <= 40.0
    assert asked["reference"][0]["event_celsius"] == 20.0
    assert asked["walk_bound_minutes"] <= asked["walk_minutes"]


def test_a_plan_is_certified_between_the_tenths_of_a_cent(
    run: Run, organ_file: Path, readings: list[Path]
) -> None:
    certified = plan(run, organ_file, readings, "--certify").json
    assert certified["bound_between"] <= certified["cost_after"]
    gap = (certified["cost_after"] - certified["bound_between"]) / certified["cost_before"]
    assert gap <= 0.001
    tied = plan(run, organ_file, readings, "--certify", "--tie", "0.5")
    assert tied.code == 2
    assert "one pitch for all" in tied.err


def test_missing_minutes_are_reported_with_an_exit_code(
    run: Run, organ_file: Path, readings: list[Path]
) -> None:
    ran = plan(run, organ_file, readings, "--within", "great.principal8=0.3")
    assert ran.code == 2
    assert re.search(r"needs \d+\.\d minutes more than there are", ran.err)


def test_music_and_weights_move_the_list(
    run: Run, organ_file: Path, readings: list[Path], music: Path
) -> None:
    played = plan(
        run, organ_file, readings, "--music", f"{music}=great.octave4",
        "--explain", "great.octave4:25",
    ).json  # fmt: skip
    (sentence,) = played["explained"]
    assert "the event's use" in sentence
    plain = plan(run, organ_file, readings).json
    left_out = plan(run, organ_file, readings, "--weight", "great.trumpet8=0").json
    assert any(i["pipe"].startswith("great.trumpet8") for i in plain["items"])
    assert not any(i["pipe"].startswith("great.trumpet8") for i in left_out["items"])


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--within", "great.principal8"], "--within 'great.principal8' is not understood"),
        (["--event-air", "warm"], "--event-air 'warm' is not understood"),
        (["--must", "great.fagotto"], "no rank, stop or pipe 'great.fagotto'"),
        (["--music", "hymn.mid"], "--music 'hymn.mid' is not understood"),
        (["--on", "17=great"], "--on '17=great' is not understood"),
        (["--weight", "great.octave4=99"], "cannot be changed by 99"),
        (["--explain", "great.twelfth:3"], "Nothing is known of great.twelfth:3"),
    ],
)
def test_what_is_not_understood_is_reported(
    run: Run, organ_file: Path, readings: list[Path], options: list[str], message: str
) -> None:
    ran = plan(run, organ_file, readings, *options)
    assert ran.code == 2
    assert message in ran.err


def test_an_event_its_music_and_the_weights_are_kept_and_planned_for(
    run: Run, must: Must, organ_file: Path, music: Path, tmp_path: Path
) -> None:
    book = tmp_path / "book"

    must("book", "new", book)
    must("book", "add", book, organ_file)
    must(
        "event", "add", book, "harvest", "--at", "2031-10-05 10:30", "--title", "Harvest",
        "--air", 20, "--stops", "great.octave4",
    )  # fmt: skip
    assert "0.1 minutes, 4 keys (hymn.mid)" in must(
        "event", "use", book, "harvest", "--music", f"{music}=great.octave4", "--air", "great=21"
    )
    (event,) = run("event", "list", book, "--json").json["events"]
    assert event["air_by_division"] == {"great": 21.0}
    assert event["use"][0]["keys"]["great"].keys() == {"60", "62", "64", "65"}
    # calendars that send it again leave its music
    must("event", "add", book, "harvest", "--at", "2031-10-05 11:00", "--title", "Harvest")
    must("visit", "open", book, "--minutes", 30, "--air", "great=18")
    with open_book.opened(book) as opened:
        for seed, stop in enumerate(["great.principal8", "great.octave4"]):
            sound = tmp_path / f"{stop}.flac"
            sound.write_bytes(stop.encode())
            opened.keep_recording(1, sound, a_walk(ORGAN, stop, seed), program_version="t")
    must("weight", "set", book, "great.principal8", 0.5, "--why", "seldom drawn")
    assert "seldom drawn" in must("weight", "list", book)
    sentence = must("weight", "explain", book, "great.octave4:25", "--event", "harvest")
    assert "the event's use" in sentence
    must("visit", "conditions", book, "--air", "great=18.6")
    made = run("visit", "plan", book, "--event", "harvest", "--json").json
    assert made["items"]
    assert made["reference"][0]["event_celsius"] == 21.0
    tried = must("visit", "plan", book, "--event", "harvest", "--minutes", 10, "--try")
    assert re.search(r"Compared with the current plan: \d+ pipes? fewer", tried)
    assert "Nothing was stored." in tried
    assert run("visit", "plan", book, "--minutes", 10, "--try", "--json").json["kept"] is False
    with open_book.opened(book) as opened:
        assert len(opened.plans(1)) == 1
    printed = must("visit", "plan", book, "--event", "harvest")
    assert "reeds for 21.0 °C" in printed
    assert "no other order of these ranks is better" in printed
    must("event", "cancel", book, "harvest")
    assert "cancelled" in must("event", "list", book)
    ran = run("visit", "plan", book, "--event", "harvest")
    assert ran.code == 2
    assert "cancelled" in ran.err
    assert "no errors" in must("book", "check", book)
