"""The invented history: three years of visits to one organ in a complete book."""

from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import pytest

from walkboard.book.opening import open_book
from walkboard.demo.hall import hall_state
from walkboard.demo.history.book import write_history
from walkboard.organ.examples import hall
from walkboard.organ.reading import read_organ

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def organ():
    return read_organ(hall())


@pytest.fixture(scope="module")
def before(organ):
    return hall_state(organ, 1881)


@pytest.fixture(scope="module")
def written(before, tmp_path_factory):
    folder = tmp_path_factory.mktemp("history") / "book"
    after = write_history(folder, hall(), before, seed=1881, now=NOW)
    with open_book(folder, clock=lambda: NOW) as book:
        yield book, after


def test_the_book_is_whole_and_every_visit_is_closed(written):
    book, _ = written
    assert book.check() == ()
    visits = book.visits(book.organs()[0].id)
    assert len(visits) == 10
    assert all(visit.closed_at is not None and visit.closed_at < NOW for visit in visits)
    opened = [visit.opened_at for visit in visits]
    assert opened == sorted(opened)


def test_pipes_ticked_as_done_were_on_the_plan(written):
    book, _ = written
    for visit in book.visits(book.organs()[0].id):
        plan = book.current_plan(visit.id)
        assert plan is not None
        ticks = book.pipe_states(visit.id)
        assert {item.pipe for item in plan.plan.items} == set(ticks)
        assert sum(tick.state == "done" for tick in ticks.values()) > 0.9 * len(ticks)


def test_tuning_shows_at_the_next_hearing(written, organ):
    """A pipe left by the tuner reads nearer its plan's target at the next visit than before it."""
    book, _ = written
    visits = book.visits(book.organs()[0].id)
    closer = []
    for visit, later in pairwise(visits):
        heard = book.best_readings(later.id)
        done = {p for p, tick in book.pipe_states(visit.id).items() if tick.state == "done"}
        for item in book.current_plan(visit.id).plan.items:
            kept = heard.get(item.pipe)
            if item.pipe not in done or kept is None or kept.reading.cents is None:
                continue
            if not organ.rank(item.pipe.rank).family.is_flue or abs(item.cents) < 3.0:
                continue
            closer.append(abs(kept.reading.cents) < abs(item.cents))
    assert len(closer) >= 25  # enough for a share; plans of this book tune about 30 such flue pipes
    assert np.mean(closer) > 0.8


def test_the_calendar_continues_after_today_and_faults_are_reported(written):
    book, _ = written
    kept = book.organs()[0]
    assert sum(event.starts_at > NOW for event in book.events(kept.id)) >= 4
    assert len(book.faults(kept.id)) == 10
    assert len(book.open_faults(kept.id)) == 1


def test_the_hall_is_left_with_its_voices_but_standing_elsewhere(written, before, organ):
    _, after = written
    assert set(after.pipes) == set(before.pipes)
    assert all(
        after.voice(p).level_db == before.voice(p).level_db
        and after.pipes[p].target_hz == before.pipes[p].target_hz
        for p in organ.pipes()
    )
    flues = [p for p in organ.pipes() if organ.rank(p.rank).family.is_flue]
    moved = np.abs([after.cents(p) - before.cents(p) for p in flues])
    assert 0.3 < np.median(moved) < 5.0
