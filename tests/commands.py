"""Runs the command line as a user does, in this process."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import soundfile

from tests.survey.organs import SMALL, rendered_walk
from walkboard.cli.main import main
from walkboard.organ.reading import read_organ


@dataclass(frozen=True)
class Ran:
    """What a command gave."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


Run = Callable[..., Ran]
Must = Callable[..., str]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    def running(*words: object) -> Ran:
        monkeypatch.setattr("sys.argv", ["walkboard", *(str(word) for word in words)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            main()
        captured = capsys.readouterr()
        code = ended.value.code
        return Ran(code if isinstance(code, int) else 0 if code is None else 1, *captured)

    return running


@pytest.fixture
def must(run: Run) -> Must:
    """A command that is to succeed; gives what it printed."""

    def running(*words: object) -> str:
        ran = run(*words)
        assert ran.code == 0, ran.err
        return ran.out

    return running


@pytest.fixture(scope="session")
def organ_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("organ") / "chapel.toml"
    path.write_text(SMALL, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def walk_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A walk of the principal with a dead note at E3."""
    path = tmp_path_factory.mktemp("sound") / "principal.flac"
    rendered = rendered_walk(read_organ(SMALL), "great.principal8", dead="E3")
    soundfile.write(path, rendered.samples, rendered.sample_rate, subtype="PCM_24")
    return path
