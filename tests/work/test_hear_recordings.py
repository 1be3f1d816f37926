"""Several recordings heard at once: the same as one by one, in order, nothing lost."""

from pathlib import Path

import pytest
import soundfile

from tests.commands import Run
from tests.survey.organs import SMALL, rendered_walk
from walkboard.errors import InputError, UnknownNameError
from walkboard.organ.reading import read_organ
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.to_json import walk_to_json
from walkboard.work import hear_recordings
from walkboard.work.hear_recordings import ToHear, hear_files

STOP = "great.octave4"


@pytest.fixture(scope="module")
def walks(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The first is the longest, so that it is the last to be heard."""
    folder = tmp_path_factory.mktemp("walks")
    paths = []
    for number, keys in enumerate((5, 2, 1)):
        path = folder / f"walk-{number}.flac"
        rendered = rendered_walk(read_organ(SMALL), STOP, keys=keys, seed=number)
        soundfile.write(path, rendered.samples, rendered.sample_rate, subtype="PCM_24")
        paths.append(path)
    return paths


def heard(paths: list[Path], processes: int) -> list[HeardWalk]:
    kept: list[HeardWalk] = []

    def keep(number: int, walk: HeardWalk) -> None:
        assert walk.file == paths[number].name
        kept.append(walk)

    hear_files([ToHear(p, SMALL, (STOP,), 18.0) for p in paths], keep, processes=processes)
    return kept


def test_two_at_once_hear_what_one_hears_in_the_order_of_the_files(walks: list[Path]) -> None:
    together, alone = heard(walks, 2), heard(walks, 1)
    assert [walk.file for walk in together] == [path.name for path in walks]
    assert [walk_to_json(walk) for walk in together] == [walk_to_json(walk) for walk in alone]
    assert [len(walk.holds) for walk in together] == [5, 2, 1]


def test_a_file_that_cannot_be_heard_is_named_and_the_others_are_printed(
    run: Run, walks: list[Path], organ_file: Path, tmp_path: Path
) -> None:
    ran = run(
        "listen", tmp_path / "lost.flac", walks[2], tmp_path / "gone.flac", "--organ", organ_file,
        "--drawn", STOP, "--at-once", 1, "--json",
    )  # fmt: skip
    assert ran.code == 2
    assert [walk["sound"]["file"] for walk in ran.json] == ["walk-2.flac"]
    assert "2 of 3 recordings could not be heard" in ran.err
    assert f"{tmp_path / 'lost.flac'}: There is no such file." in ran.err
    assert f"{tmp_path / 'gone.flac'}: There is no such file." in ran.err


def test_the_error_of_one_file_is_its_own(walks: list[Path], tmp_path: Path) -> None:
    kept: list[str] = []
    asked = [ToHear(p, SMALL, (STOP,), 18.0) for p in (tmp_path / "lost.flac", walks[2])]
    with pytest.raises(InputError, match=r"lost\.flac: There is no such file"):
        hear_files(asked, lambda _, walk: kept.append(walk.file), processes=1)
    assert kept == ["walk-2.flac"]


def test_a_stop_that_is_not_there_is_said_once_before_anything_is_heard(tmp_path: Path) -> None:
    asked = [ToHear(tmp_path / str(n), SMALL, ("great.flute9",), 18.0) for n in range(3)]
    with pytest.raises(UnknownNameError, match=r"great\.flute9"):
        hear_files(asked, lambda *_: None, processes=2)


def test_ctrl_c_while_one_is_kept_keeps_those_that_were_heard(
    walks: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Heard in the wrong order, the first not at all."""
    from concurrent.futures import Future

    def interrupted(*_: object, **__: object):
        for number in (2, 1):
            future: Future[HeardWalk] = Future()
            future.set_result(heard([walks[number]], 1)[0])
            yield number, future
        raise KeyboardInterrupt

    monkeypatch.setattr(hear_recordings, "finished", interrupted)
    kept: list[int] = []
    asked = [ToHear(p, SMALL, (STOP,), 18.0) for p in walks]
    with pytest.raises(KeyboardInterrupt):
        hear_files(asked, lambda number, _: kept.append(number), processes=2)
    assert kept == [1, 2]


def test_taken_into_a_book_each_is_kept_in_the_order_of_the_files(
    run: Run, walks: list[Path], organ_file: Path, tmp_path: Path
) -> None:
    book = tmp_path / "book"
    for words in (
        ["book", "new", book],
        ["book", "add", book, organ_file],
        ["visit", "open", book, "--purpose", "survey", "--minutes", 20],
    ):
        assert run(*words).code == 0
    ran = run(
        "visit", "take", book, walks[2], tmp_path / "lost.flac", walks[1], "--drawn", STOP,
        "--air-now", 18, "--at-once", 1,
    )  # fmt: skip
    assert ran.code == 2
    assert [line.split(":")[0] for line in ran.out.splitlines() if line.startswith("Stored")] == [
        "Stored walk-2.flac", "Stored walk-1.flac",
    ]  # fmt: skip
    assert "lost.flac: There is no such file." in ran.err
