"""The documents are true: their commands run, their links lead somewhere."""

import re
import shlex
from pathlib import Path

import pytest
import soundfile

from tests.commands import Run
from tests.survey.organs import rendered_walk
from walkboard.organ import examples
from walkboard.organ.reading import read_organ

ROOT = Path(__file__).resolve().parent.parent
PAGES = [*sorted(ROOT.glob("*.md")), *sorted((ROOT / "docs").glob("*.md"))]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+?)\)", page.read_text(encoding="utf-8")):
        assert (page.parent / target).exists(), f"{page.name}: {target}"


def test_the_commands_of_the_readme_run_in_order(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    rendered = rendered_walk(read_organ(examples.village()), "great.open8", keys=8)
    soundfile.write("principal.flac", rendered.samples, rendered.sample_rate)
    Path("stops.txt").write_text("Great\nOpen Diapason 8\nPedal\nBourdon 16\n", encoding="utf-8")
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = [
        line
        for block in re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
        for line in block.splitlines()
        if line.startswith("walkboard ")
    ]
    assert len(commands) >= 15
    for command in commands:
        line, _, output = command.partition(" > ")
        ran = run(*shlex.split(line)[1:])
        assert ran.code == 0, f"{command}\n{ran.err}"
        if output:
            Path(output).write_text(ran.out, encoding="utf-8")
    assert Path("report.pdf").read_bytes().startswith(b"%PDF")
