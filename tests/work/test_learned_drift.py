"""What was learned of a book's drift is kept, and only as long as nothing under it changes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import MappingProxyType

import pytest

from walkboard.condition.drift import fit
from walkboard.condition.drift.fit import AS_USUAL, Learned
from walkboard.condition.drift.history import PastVisit
from walkboard.condition.drift.kinds import CommonHabits, DriftKind
from walkboard.condition.state import PipeCents
from walkboard.organ.examples import village
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.work import learned_drift
from walkboard.work.learned_drift import FOLDER, MOST_KEPT, learned_of

PIPE = PipeRef("great.open8", 19)
VISIT = PastVisit(
    date(2031, 3, 1), {"great": 18.0}, (PipeCents(PIPE, 1.25, 0.1, None, 18.0),), {PIPE: 0.1}
)


@pytest.fixture(scope="module")
def organ() -> Organ:
    return read_organ(village())


@pytest.fixture
def learned_times(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How often something was learned; each time it comes out otherwise."""
    times: list[int] = []

    def learn(_organ: Organ, _past: object) -> Learned:
        times.append(len(times))
        return Learned(
            AS_USUAL.habits,
            CommonHabits(visit_cents=0.1 + 1.0 / (3.0 + len(times))),
            AS_USUAL.recalibration,
            MappingProxyType(dict.fromkeys(DriftKind, 100 + len(times))),
        )

    monkeypatch.setattr(learned_drift, "learn", learn)
    return times


def test_a_second_time_it_is_not_learned_again(
    tmp_path: Path, organ: Organ, learned_times: list[int]
) -> None:
    first = learned_of(tmp_path, village(), organ, [VISIT])
    again = learned_of(tmp_path, village(), organ, [VISIT])
    assert learned_times == [0]
    assert again.common == first.common  # to the last bit
    assert again.habits == first.habits
    assert again.recalibration == first.recalibration
    assert again.readings == first.readings


@pytest.mark.parametrize(
    "change",
    [
        lambda v: replace(v, heard=(replace(v.heard[0], cents=1.2500001),)),
        lambda v: replace(v, heard=(replace(v.heard[0], sigma_cents=0.11),)),
        lambda v: replace(v, heard=(replace(v.heard[0], air_celsius=18.1),)),
        lambda v: replace(v, heard=()),
        lambda v: replace(v, left={PIPE: 0.2}),
        lambda v: replace(v, left={}),
        lambda v: replace(v, at=date(2031, 3, 2)),
        lambda v: replace(v, air_celsius={"great": 18.1}),
    ],
)
def test_it_is_learned_again_when_a_visit_changes(
    tmp_path: Path,
    organ: Organ,
    learned_times: list[int],
    change: Callable[[PastVisit], PastVisit],
) -> None:
    learned_of(tmp_path, village(), organ, [VISIT])
    other = learned_of(tmp_path, village(), organ, [change(VISIT)])
    assert learned_times == [0, 1]
    assert learned_of(tmp_path, village(), organ, [change(VISIT)]).common == other.common


def test_it_is_learned_again_by_another_program_or_of_another_organ(
    tmp_path: Path, organ: Organ, learned_times: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    learned_of(tmp_path, village(), organ, [VISIT])
    learned_of(tmp_path, village() + "\n# changed", organ, [VISIT])
    monkeypatch.setattr(learned_drift, "__version__", "0.0.99")
    learned_of(tmp_path, village(), organ, [VISIT])
    monkeypatch.setattr(fit, "METHOD", fit.METHOD + 1)
    learned_of(tmp_path, village(), organ, [VISIT])
    assert learned_times == [0, 1, 2, 3]


def test_a_damaged_file_is_not_believed(
    tmp_path: Path, organ: Organ, learned_times: list[int]
) -> None:
    learned_of(tmp_path, village(), organ, [VISIT])
    (kept,) = (tmp_path / FOLDER).glob("drift-*.json")
    whole = kept.read_text(encoding="utf-8")
    for damage in ("", whole[:40], whole.replace('"slide"', '"oboe"'), whole.replace("0.1", "-1")):
        kept.write_text(damage, encoding="utf-8")
        learned_of(tmp_path, village(), organ, [VISIT])
    assert learned_times == [0, 1, 2, 3, 4]


def test_a_folder_that_cannot_be_written_keeps_nothing_and_answers(
    tmp_path: Path, organ: Organ, learned_times: list[int]
) -> None:
    (tmp_path / FOLDER).write_text("in the way", encoding="utf-8")
    learned_of(tmp_path, village(), organ, [VISIT])
    learned_of(tmp_path, village(), organ, [VISIT])
    assert learned_times == [0, 1]


def test_old_files_do_not_pile_up(tmp_path: Path, organ: Organ, learned_times: list[int]) -> None:
    for day in range(1, MOST_KEPT + 5):
        learned_of(tmp_path, village(), organ, [replace(VISIT, at=date(2031, 5, day))])
    assert len(list((tmp_path / FOLDER).iterdir())) == MOST_KEPT
    assert len(learned_times) == MOST_KEPT + 4
