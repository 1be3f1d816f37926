"""A live session at the pipes with a book: what is ticked, kept, taken back, and left by a kill."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.listening.live_sounds import RATE, moved, still
from tests.readings import measured
from walkboard.book.records import TickState
from walkboard.capture.playing import NoWait, PlayedSound
from walkboard.errors import BookError
from walkboard.organ import examples
from walkboard.organ.model import PipeRef
from walkboard.organ.targets import target_hz
from walkboard.planning.plan import PlanItem
from walkboard.work import open_book
from walkboard.work.live.leftovers import take_in_left_over
from walkboard.work.live.log import Heard, Line, Settled
from walkboard.work.live.session import Place, TuningSession, tasks_of
from walkboard.work.live.values import FOLDER, Step, Task
from walkboard.work.live.warmth import learned_warmth, usual_warmth

# Reeds: a tool at the spring does not warm them, so they are believed at once.
PIPES = [PipeRef("swell.clarion4", n) for n in (13, 14)]


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    text = tmp_path / "hall.toml"
    text.write_text(examples.hall(), encoding="utf-8")
    book = open_book.new(tmp_path / "book")
    kept = open_book.add_organ(book, text)
    _, organ = open_book.organ_of(book, None)
    visit = book.open_visit(kept.id, purpose="before the recital", minutes=60.0)
    yield Place(book, kept, organ, visit)
    book.close()


def tasks(place: Place) -> tuple[Task, ...]:
    items = [
        PlanItem(n, pipe, 3.0, target_hz(place.organ, pipe, None), "flatter", 0.6, "")
        for n, pipe in enumerate(PIPES, start=1)
    ]
    return tasks_of(place.organ, items)


def session(place: Place, *cents: float) -> TuningSession:
    """A session whose source plays the pipes one after another, so far off."""
    sounds = [
        moved(
            target_hz(place.organ, pipe, None) * 2.0 ** (off / 1200.0),
            still,
            "flue",
            np.random.default_rng(4),
            seconds=3.4,
            reverberation_s=1.0,
        ).samples
        for pipe, off in zip(PIPES, cents, strict=False)
    ]
    source = PlayedSound(np.concatenate(sounds), RATE, NoWait())
    return TuningSession(place, source, tasks(place), update_s=0.1)


def test_pipes_inside_tolerance_are_ticked_and_kept_with_their_recording(place: Place) -> None:
    at = session(place, 0.2, -0.1)
    steps: list[Step] = []
    at.run(lambda shown: steps.append(shown.step))
    assert steps[-1] is Step.END
    states = place.book.pipe_states(place.visit.id)
    assert {pipe: tick.state for pipe, tick in states.items()} == dict.fromkeys(
        PIPES, TickState.DONE
    )
    assert states[PIPES[0]].note == "before +0.2, after +0.2 cents"
    assert states[PIPES[0]].at < states[PIPES[1]].at
    kept = at.close()
    assert kept is not None
    assert kept.walk.sound.seconds == pytest.approx(at.meter.lost / RATE + 7.4, abs=0.1)
    assert [hold.readings[0].pipe for hold in kept.walk.holds] == PIPES
    assert measured(kept.walk.holds[0].readings[0]).cents == pytest.approx(0.2, abs=0.05)
    assert place.book.sound_path(kept.id).stat().st_size > 100_000
    # what was heard after the pipe was called done counts as where it stands
    best = place.book.best_readings(place.visit.id)
    assert best[PIPES[1]].reading.cents_or_none == pytest.approx(-0.1, abs=0.05)
    assert list((place.book.path / FOLDER).iterdir()) == []
    assert at.close() is None


def test_undo_takes_the_tick_back_and_the_reading_out(place: Place) -> None:
    at = session(place, 0.2)
    at.run(lambda _: None)
    assert at.flow.task is not None
    assert at.flow.task.pipe == PIPES[1]
    shown = at.undo()
    assert shown.task is not None
    assert shown.task.pipe == PIPES[0]
    assert place.book.pipe_states(place.visit.id)[PIPES[0]].state == TickState.OPEN
    kept = at.close()
    assert kept is not None
    assert kept.walk.holds == ()
    assert place.book.best_readings(place.visit.id) == {}


def test_skip_and_a_fault_stand_in_the_book(place: Place) -> None:
    at = session(place, 5.0)
    fault = at.note_fault("off speech", "spits")
    assert fault.pipe == PIPES[0]
    shown = at.skip()
    assert shown.task is not None
    assert shown.task.pipe == PIPES[1]
    assert place.book.pipe_states(place.visit.id)[PIPES[0]].state == TickState.SKIPPED
    assert at.come_back(PIPES[0]).task == tasks(place)[0]
    at.close()


def killed(at: TuningSession) -> None:
    """As the system leaves a session whose program was killed: never closed, its lock gone."""
    at._berth.release()


def test_what_a_killed_session_left_is_taken_in(place: Place) -> None:
    at = session(place, 0.2)
    at.run(lambda _: None)
    assert take_in_left_over(place.book) == ()  # it runs
    killed(at)
    kept = take_in_left_over(place.book, place.visit.id)
    assert len(kept) == 1
    assert kept[0].walk.holds[0].readings[0].pipe == PIPES[0]
    assert take_in_left_over(place.book) == ()
    assert list((place.book.path / FOLDER).iterdir()) == []


def test_a_session_in_which_nothing_was_done_is_kept_too(place: Place) -> None:
    quiet = np.full(RATE // 2, 1e-4)
    for _ in range(2):  # the same sound twice is two recordings
        at = TuningSession(place, PlayedSound(quiet, RATE, NoWait()), tasks(place))
        at.run(lambda _: None)
        kept = at.close()
        assert kept is not None
        assert kept.walk.holds == ()
        assert kept.walk.drawn == (tasks(place)[0].stop,)
        assert kept.walk.sound.seconds == pytest.approx(0.5)
    assert len(place.book.recordings(place.visit.id)) == 2
    assert place.book.check() == ()


def test_how_pipes_settled_is_kept_and_the_next_session_waits_by_it(place: Place) -> None:
    rank = place.organ.rank(PIPES[0].rank)
    for minute in range(6):
        at = TuningSession(place, PlayedSound(np.zeros(RATE // 5), RATE, NoWait()), tasks(place))
        at.run(lambda _: None)
        heard = Heard(
            hz=523.0, sigma_cents=0.1, level_db=-20.0, start_s=60.0 * minute, end_s=60.0 * minute
        )
        settled = Settled(
            log_tau=float(np.log(100.0)),
            log_tau_sigma=0.1,
            offset_cents=12.0,
            offset_sigma_cents=0.5,
        )
        at._log.add(Line(pipe=str(PIPES[minute % 2]), stop=rank.id, after=heard, settling=settled))
        at.close()
    kept = place.book.settlings(place.kept.id)
    assert len(kept) == 6
    assert {one.tuned_by for one in kept} == {rank.tuned_by.value}
    warmth = session(place, 0.2).flow._work.warmth
    usual = usual_warmth(rank.tuned_by)
    assert 80.0 < warmth.tau_s < 100.0
    assert warmth.spread < usual.spread
    assert warmth.offset_cents > 9.0
    # another rank of the kind learns of it as well, a rank of another kind nothing
    learned = learned_warmth(place.organ, kept, kept)
    kinds = {tuned_by for _, tuned_by in learned}
    assert kinds == {rank.tuned_by}
    assert len(learned) > 1
    assert all(w.tau_s <= learned[rank.id, rank.tuned_by].tau_s for w in learned.values())


def test_a_log_of_a_session_before_settlings_were_kept_is_still_read(place: Place) -> None:
    noise = 1e-3 * np.random.default_rng(6).standard_normal(3 * RATE // 2)
    at = TuningSession(place, PlayedSound(noise, RATE, NoWait()), tasks(place))
    at.run(lambda _: None)
    heard = Heard(hz=523.0, sigma_cents=0.1, level_db=-20.0, start_s=0.0, end_s=0.1)
    at._log.add(Line(pipe=str(PIPES[0]), stop=PIPES[0].rank, after=heard))
    killed(at)
    log = at._log.path
    text = log.read_text(encoding="utf-8").replace(',"settling":null', "")
    text = text.replace(f',"stop":"{tasks(place)[0].stop}"}}\n', "}\n", 1)
    assert "settling" not in text
    log.write_text(text, encoding="utf-8")
    (kept,) = take_in_left_over(place.book)
    assert [hold.readings[0].pipe for hold in kept.walk.holds] == [PIPES[0]]
    assert place.book.settlings() == ()


def test_without_a_plan_or_an_open_visit_there_is_no_session(place: Place) -> None:
    source = PlayedSound(np.zeros(10), RATE, NoWait())
    with pytest.raises(BookError, match="has no plan"):
        TuningSession(place, source)
    place.book.close_visit(place.visit.id)
    (visit,) = place.book.visits(place.kept.id)
    with pytest.raises(BookError, match="is closed"):
        TuningSession(Place(place.book, place.kept, place.organ, visit), source, tasks(place))


def test_a_pipe_is_held_on_the_stop_that_sounds_it_alone(place: Place) -> None:
    (first, _) = tasks(place)
    assert place.organ.stop(first.stop).pipes_at(first.key) == (PIPES[0],)
