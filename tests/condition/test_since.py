"""What has moved since the last visit, said in sentences."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from tests.condition.organs import small_organ
from walkboard.condition.drift.forecast import Forecast, follow, forecast
from walkboard.condition.drift.history import PastVisit
from walkboard.condition.drift.since import moved_since
from walkboard.condition.state import PipeCents
from walkboard.organ.model import PipeRef

ORGAN = small_organ()
AIR = {"great": 18.0, "swell": 18.0}


def heard(moved: dict[str, float], seed: int) -> tuple[PipeCents, ...]:
    """Every rank but the historic one, scattered by half a cent; some ranks or divisions moved."""
    rng = np.random.default_rng(seed)
    return tuple(
        PipeCents(
            pipe,
            float(rng.normal(0.0, 0.5))
            + moved.get(pipe.rank, 0.0)
            + moved.get(ORGAN.rank(pipe.rank).division, 0.0),
            0.1,
            None,
            18.0,
        )
        for pipe in ORGAN.pipes()
    )


@pytest.fixture(scope="module")
def ahead() -> Forecast:
    """Two visits at which everything was in tune; the forecast is for three months later."""
    past = [PastVisit(date(2030, m, 1), AIR, heard({}, m), {}) for m in (2, 5)]
    return forecast(follow(ORGAN, past), date(2030, 8, 1), AIR)


def sentences(ahead: Forecast, moved: dict[str, float]) -> tuple[str, ...]:
    return moved_since(ORGAN, ahead, heard(moved, 9), "May 2030")


def test_nothing_is_reported_if_nothing_moved(ahead):
    assert sentences(ahead, {}) == ()


def test_a_whole_division_that_has_risen(ahead):
    (said,) = sentences(ahead, {"great": 6.0})
    assert said == "The whole Great has risen by 6 cents since May 2030."


def test_a_rank_that_was_changed(ahead):
    (said,) = sentences(ahead, {"swell.oboe": -9.0})
    assert said.startswith("The Oboe (Swell) stands 9 cents flatter than it was left")


def test_another_thermometer_moves_everything(ahead):
    said = sentences(ahead, {"great": 9.0, "swell": 9.0})
    assert said[0].startswith("Everything reads 9 cents above what the air explains")
    assert not any("whole" in sentence for sentence in said)


def test_a_few_strays_are_no_movement_of_a_rank(ahead):
    pipes = [
        p if p.pipe.number % 5 else PipeCents(p.pipe, 20.0, 0.1, None, 18.0) for p in heard({}, 9)
    ]
    assert moved_since(ORGAN, ahead, pipes, "May 2030") == ()


def test_too_few_pipes_say_nothing(ahead):
    pipes = [PipeCents(PipeRef("swell.oboe", n), -9.0, 0.1, None, 18.0) for n in (1, 2, 3)]
    assert moved_since(ORGAN, ahead, pipes, "May 2030") == ()
    assert moved_since(ORGAN, ahead, [], "May 2030") == ()


def of_ranks(moved: dict[str, float], *ranks: str) -> tuple[PipeCents, ...]:
    return tuple(p for p in heard(moved, 9) if p.pipe.rank in ranks)


def test_two_ranks_show_a_divisions_move_and_one_alone_does_not(ahead):
    """One rank of flues that has risen may be the air of its division."""
    up = {"great": 6.0}
    (both,) = moved_since(ORGAN, ahead, of_ranks(up, "great.principal", "great.octave"), "May 2030")
    assert both == "The whole Great has risen by 6 cents since May 2030."
    assert moved_since(ORGAN, ahead, of_ranks(up, "great.principal"), "May 2030") == ()


def test_a_fall_is_reported_as_a_fall(ahead):
    (said,) = sentences(ahead, {"great": -6.0})
    assert said == "The whole Great has fallen by 6 cents since May 2030."
    assert sentences(ahead, {"great": -9.0, "swell": -9.0})[0].startswith(
        "Everything reads 9 cents below what the air explains"
    )
    (rank,) = sentences(ahead, {"swell.oboe": 9.0})
    assert "9 cents sharper than it was left" in rank


def test_five_pipes_of_a_reed_are_enough(ahead):
    five = of_ranks({"swell.oboe": -9.0}, "swell.oboe")[20:25]
    assert len(moved_since(ORGAN, ahead, five, "May 2030")) == 1
    assert moved_since(ORGAN, ahead, five[:4], "May 2030") == ()


def test_divisions_that_moved_apart_are_named_by_how_far(ahead):
    """All have risen by 6; the Swell by 8 more."""
    said = sentences(ahead, {"great": 6.0, "swell": 14.0})
    assert any(s.startswith("Everything reads 6 cents above") for s in said)
    assert any(s.startswith("The whole Swell has risen by 8 cents") for s in said)
