"""A complete tuning: the order of the trade, and where each day ends."""

from __future__ import annotations

import pytest

from tests.condition.organs import small_organ
from walkboard.condition.kinds import Role, role_of
from walkboard.errors import InputError
from walkboard.organ.celestes import partner_of
from walkboard.organ.examples import hall
from walkboard.organ.reading import read_organ
from walkboard.planning.complete import (
    LIMITS,
    CompleteTuning,
    Stage,
    complete_to_json,
    complete_tuning,
)
from walkboard.planning.route.order import reference_rank

HALL = read_organ(hall())


@pytest.fixture(scope="module")
def tuning() -> CompleteTuning:
    return complete_tuning(HALL, 360.0)


def test_it_begins_with_the_bearings_of_the_reference_rank_and_its_octaves(tuning):
    reference = reference_rank(HALL)
    assert reference is not None
    first = tuning.steps[:3]
    assert [step.rank for step in first] == [reference.id] * 3
    assert [step.stage for step in first] == [Stage.BEARINGS, Stage.OCTAVES, Stage.OCTAVES]
    assert reference.key_of(first[0].first).semitone == 53  # F3
    assert min((s.first, s.last) for s in first)[0] == 1


def test_every_pipe_is_tuned_once_and_historic_ranks_are_left():
    organ = small_organ()
    tuning = complete_tuning(organ, 240.0)
    done: dict[str, list[int]] = {}
    for step in tuning.steps:
        if step.stage is not Stage.CHECK:
            done.setdefault(step.rank, []).extend(range(step.first, step.last + 1))
    for rank in organ.ranks:
        expected = [] if rank.historic else list(range(1, rank.pipes + 1))
        assert sorted(done.get(rank.id, [])) == expected
    assert any("great.old" in note and "adviser" in note for note in tuning.notes)


def test_mixtures_follow_their_flues_celestes_their_partners_and_reeds_come_last(tuning):
    order = [step.rank for step in tuning.steps if step.stage is not Stage.CHECK]
    role = {rank.id: role_of(HALL, rank) for rank in HALL.ranks}
    reeds = [role[rank] is Role.REED for rank in order]
    assert reeds == sorted(reeds)
    for rank in HALL.ranks:
        if role[rank.id] is Role.CELESTE:
            partner = partner_of(HALL, rank)
            assert partner is not None
            assert order.index(rank.id) > order.index(partner.id)
            (step,) = {s.against for s in tuning.steps if s.rank == rank.id}
            assert step == partner.id
        if role[rank.id] is Role.MIXTURE:
            own = [r.id for r in HALL.ranks if r.division == rank.division]
            flues = [r for r in own if role[r] is Role.UNISON]
            assert order.index(rank.id) > max(order.index(r) for r in flues)


def test_a_row_of_a_mixture_is_tuned_with_the_others_silenced(tuning):
    rows = [step for step in tuning.steps if step.stage is Stage.MIXTURE]
    assert rows
    assert any(step.silence for step in rows)
    assert all(step.rank not in step.silence for step in rows)


def test_no_day_is_longer_than_it_is_and_each_begins_with_a_check(tuning):
    assert tuning.days > 1
    for day in range(1, tuning.days + 1):
        steps = [step for step in tuning.steps if step.day == day]
        assert tuning.minutes_of(day) <= 360.0 + 1e-6
        assert sum(s.minutes + s.walk_minutes for s in steps) == tuning.minutes_of(day)
        if day > 1:
            assert steps[0].stage is Stage.CHECK
            assert steps[0].minutes == LIMITS.check_minutes


def test_shorter_days_take_more_of_them(tuning):
    short = complete_tuning(HALL, 180.0)
    assert short.days > tuning.days
    assert short.minutes >= tuning.minutes


def test_a_rank_is_split_only_where_half_of_it_fits_or_a_day_begins_with_it(tuning):
    by_rank: dict[str, list[int]] = {}
    for step in tuning.steps:
        if step.stage not in {Stage.CHECK, Stage.BEARINGS, Stage.OCTAVES}:
            by_rank.setdefault(step.rank, []).append(step.last - step.first + 1)
    for rank, runs in by_rank.items():
        if len(runs) > 1:
            assert runs[0] >= 0.4 * HALL.rank(rank).pipes


@pytest.mark.parametrize("minutes", [30.0, 2000.0, float("nan")])
def test_an_invalid_day_is_refused(minutes):
    with pytest.raises(InputError, match="A day of tuning cannot last"):
        complete_tuning(HALL, minutes)


def test_it_goes_out_as_json(tuning):
    plain = complete_to_json(tuning)
    assert plain["format"] == 1
    assert plain["days"] == tuning.days
    assert len(plain["steps"]) == len(tuning.steps)
    assert plain["steps"][0]["stage"] == "bearings"


def test_the_command_prints_days_and_where_to_stop(run, tmp_path):
    path = tmp_path / "hall.toml"
    path.write_text(hall(), encoding="utf-8")
    shown = run("complete-tuning", "--organ", path, "--day-minutes", "360").out
    assert "set the bearings" in shown
    assert "Day 1:" in shown
    assert "stop there" in shown
    plain = run("complete-tuning", "--organ", path, "--day-minutes", "360", "--json").json
    assert plain["days"] == complete_tuning(HALL, 360.0).days
