"""The flow at the pipe: the worklist in order, heard live; pages or a script drive it.

Nothing here touches a book, a clock or a device: blocks with their times come in, `Shown` goes out.
A pipe is called done when where it will settle is inside the tolerance with two of its σ, and it
has not been moved for a second and a half. Where it may be in or out it is heard for longer; it is
to be moved only where it is surely worth it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from walkboard.condition.settling.forecast import Warmth
from walkboard.condition.settling.learned import PastSettling
from walkboard.condition.settling.moves import Advice, MoveSeen, advise, learn_hand, tongue_mm
from walkboard.errors import UnknownNameError
from walkboard.listening.live.readings import LiveFlag, LiveReading
from walkboard.listening.live.tracker import UPDATE_S, Expected, Tracker
from walkboard.listening.types import Comb
from walkboard.organ.model import Organ, PipeRef, TunedBy
from walkboard.organ.targets import target_hz
from walkboard.physics.air import Air, speed_of_sound_m_s
from walkboard.survey.kinds import spectrum_of
from walkboard.work.live.pipe import SURE_CENTS, AtPipe
from walkboard.work.live.values import Outcome, Result, Shown, Step, Task
from walkboard.work.live.warmth import usual_warmth

TOLERANCE_CENTS = 0.5
_QUIET_S = 1.5  # unmoved, before a pipe can be done or a move is advised again
_STEADY_SIGMA_CENTS = 0.4
_INSIDE_SIGMAS = 2.0
_MARGIN = 0.7  # of the tolerance, from where on a pipe that is surely there is moved
_WORTH_SIGMAS = 2.0  # that it must stand from its target, to be moved
_LONGEST_S = 1.2  # of a window: a pipe that cools moves by half a cent a second


class TuningFlow:
    """The worklist at the pipes.

    Parameters
    ----------
    organ : Organ
    tasks : sequence of Task
        In the order of work.
    sample_rate : int
        Of the source [Hz].
    air_celsius : mapping of division to float
        [°C]; the organ's pitch temperature where it is not in it.
    tolerance_cents : float
    warmth : mapping of rank id to Warmth
        Learned from past pipes (`live.warmth.learned_warmth`); the usual where it is not in.
    update_s : float
        Between two updates [s].
    """

    def __init__(  # noqa: PLR0917
        self,
        organ: Organ,
        tasks: Sequence[Task],
        sample_rate: int,
        air_celsius: Mapping[str, float],
        tolerance_cents: float = TOLERANCE_CENTS,
        warmth: Mapping[str, Warmth] | None = None,
        update_s: float = UPDATE_S,
    ) -> None:
        self._organ = organ
        self._tasks = list(tasks)
        self._air = dict(air_celsius)
        self._tolerance = tolerance_cents
        self._warmth = dict(warmth or {})
        self._results: dict[PipeRef, Result] = {}
        self._order: list[PipeRef] = []
        self._moves: dict[str, list[MoveSeen]] = {}
        self._reference: Comb | None = None
        self._work = AtPipe(Warmth())
        self._at = 0
        first = tasks[0] if tasks else None
        comb = Comb("", 440.0) if first is None else Comb(str(first.pipe), first.target_hz)
        self._tracker = Tracker(sample_rate, Expected(comb), update_s, _LONGEST_S)
        if first is not None:
            self._turn_to(0)

    @property
    def task(self) -> Task | None:
        """The pipe at hand; None at the end."""
        return self._tasks[self._at] if self._at < len(self._tasks) else None

    @property
    def results(self) -> tuple[Result, ...]:
        """What became of the pipes dealt with, in that order."""
        return tuple(self._results[pipe] for pipe in self._order)

    @property
    def settlings(self) -> tuple[PastSettling, ...]:
        """What was learned of how pipes settle, by what they are tuned by."""
        found = (result.settling for result in self.results)
        return tuple(settling for settling in found if settling is not None)

    def hear_beside(self, reference: Comb | None) -> None:
        """Expect a reference pipe to sound together with the pipe at hand, or none."""
        self._reference = reference
        if self.task is not None:
            self._expect(self.task)

    def skip(self) -> Task | None:
        """Leave the pipe at hand for later and go on; gives the next."""
        if self.task is not None:
            self._put(self.task, Outcome.SKIPPED, None)
            self._go_on()
        return self.task

    def come_back(self, pipe: PipeRef) -> Task:
        """Take up a pipe of the worklist, whatever became of it.

        Raises
        ------
        UnknownNameError
            When it is not on the worklist.
        """
        for index, task in enumerate(self._tasks):
            if task.pipe == pipe:
                self._forget(pipe)
                self._turn_to(index)
                return task
        raise UnknownNameError(f"The worklist has no pipe {pipe}.", mend="Name one that is on it.")

    def undo(self) -> Task | None:
        """Take back what was last said of a pipe (done or skipped) and take that pipe up again."""
        if not self._order:
            return self.task
        return self.come_back(self._order[-1])

    def take(self, samples: NDArray[np.floating], start_s: float) -> tuple[Shown, ...]:
        """Hear a block; gives an update where one is due.

        Parameters
        ----------
        samples : ndarray, shape (n,) or (n, channels)
        start_s : float
            Time of the first sample, by the source's clock [s].
        """
        if self.task is None:
            return ()
        return tuple(self._update(reading) for reading in self._tracker.take(samples, start_s))

    def show(self) -> Shown:
        """Where the flow stands now, without a new reading."""
        task = self.task
        if task is None:
            return self._shown(Step.END, None, "the worklist is through")
        words = f"hold {task.key.name}"
        return self._shown(Step.HOLD, None, words)

    def _update(self, reading: LiveReading) -> Shown:
        task = self.task
        if task is None:
            return self.show()
        if reading.cents is None or reading.sigma_cents is None:
            return self._shown(Step.HOLD, reading, self._missing(task, reading))
        work = self._work
        if LiveFlag.MOVING in reading.flags or work.has_moved(reading):
            work.move(reading)
            return self._shown(Step.MOVE, reading, "moving")
        quiet_s = work.rest(reading)
        if reading.sigma_cents > _STEADY_SIGMA_CENTS:
            return self._shown(Step.LISTEN, reading, "listening")
        work.remember(reading)
        is_new = work.handled_s is not None and work.forecast is None
        if quiet_s < _QUIET_S or reading.sigma_cents > SURE_CENTS or is_new:
            return self._shown(Step.LISTEN, reading, "listening")
        self._learn_move()
        return self._judge(task, reading)

    def _judge(self, task: Task, reading: LiveReading) -> Shown:
        """Whether a pipe that stands is done, to be moved, or to be heard for longer."""
        settled, sigma = self._work.settled(reading)
        tolerance, told = self._tolerance, self._work.forecast
        if abs(settled) + _INSIDE_SIGMAS * sigma < tolerance:
            return self._finish(task, reading, settled, sigma)
        if told is not None and sigma > tolerance / 2:
            # It may still go anywhere: to move it now would be to chase it.
            if abs(settled) > 3.0 * sigma + tolerance:
                return self._advised(reading, settled)
            return self._shown(Step.WAIT, reading, f"hand off; {told.words}")
        if abs(settled) > max(_MARGIN * tolerance, _WORTH_SIGMAS * sigma):
            return self._advised(reading, settled)
        return self._shown(Step.LISTEN, reading, "listening: it is close")

    def _learn_move(self) -> None:
        """Compare what the last move was asked to do with what it did."""
        work, task = self._work, self.task
        if not work.is_moved or work.asked_cents is None or work.stood_cents is None:
            return
        assert task is not None
        told = work.forecast
        if told is None or told.sigma_cents > _TOLD_MOVE * abs(work.asked_cents):
            return
        seen = MoveSeen(work.asked_cents, told.settled_cents - work.stood_cents)
        self._moves.setdefault(task.pipe.rank, []).append(seen)
        work.asked_cents, work.is_moved = None, False

    def _advised(self, reading: LiveReading, settled_cents: float) -> Shown:
        task, work = self.task, self._work
        assert task is not None
        assert reading.hz is not None
        rank = self._organ.rank(task.pipe.rank)
        if not work.is_moved:
            work.asked_cents, work.stood_cents = -settled_cents, settled_cents
        celsius = self._air.get(rank.division, self._organ.pitch.at_celsius)
        speed = speed_of_sound_m_s(Air(celsius))
        told = "historic: ask the organ's adviser before you move it" if rank.historic else ""
        hand = learn_hand(self._moves.get(rank.id, ()))
        tongue = None
        if rank.tuned_by is TunedBy.SPRING:
            tongue = tongue_mm(rank, task.pipe.number, reading.hz)
        advice = advise(rank.tuned_by.value, -settled_cents, reading.hz, speed, hand, told, tongue)
        return self._shown(Step.MOVE, reading, advice.words, advice)

    def _finish(
        self, task: Task, reading: LiveReading, settled_cents: float, sigma_cents: float
    ) -> Shown:
        result = self._put(task, Outcome.DONE, reading, settled_cents, sigma_cents)
        told = self._work.forecast
        left = "as it was" if self._work.handled_s is None else "done"
        self._go_on()
        return Shown(
            Step.DONE if self.task is not None else Step.END,
            self.task,
            self._following(),
            reading,
            None,
            told,
            f"{task.key.name} {left}",
            self._count_done(),
            len(self._tasks),
            result,
        )

    def _put(
        self,
        task: Task,
        outcome: Outcome,
        after: LiveReading | None,
        settled_cents: float | None = None,
        sigma_cents: float | None = None,
    ) -> Result:
        self._forget(task.pipe)
        work = self._work
        told, settling = work.forecast, None
        was_asked = work.stood_cents is not None  # else it only wandered, or was jostled
        if outcome is Outcome.DONE and told is not None and was_asked:
            settling = PastSettling(
                self._organ.rank(task.pipe.rank).tuned_by.value,
                told.log_tau,
                told.log_tau_sigma,
                told.offset_cents,
                told.offset_sigma_cents,
            )
        result = Result(
            task, outcome, work.before, after, settled_cents, sigma_cents, work.handled_s, settling
        )
        self._results[task.pipe] = result
        self._order.append(task.pipe)
        return result

    def _forget(self, pipe: PipeRef) -> None:
        self._results.pop(pipe, None)
        if pipe in self._order:
            self._order.remove(pipe)

    def _go_on(self) -> None:
        """To the next pipe that is open: after this one, or else from the beginning."""
        count = len(self._tasks)
        for step in range(1, count + 1):
            index = (self._at + step) % count
            if self._tasks[index].pipe not in self._results:
                self._turn_to(index)
                return
        self._at = count

    def _turn_to(self, index: int) -> None:
        self._at = index
        task = self._tasks[index]
        rank = self._organ.rank(task.pipe.rank)
        self._work = AtPipe(self._warmth.get(rank.id) or usual_warmth(rank))
        self._expect(task)

    def _expect(self, task: Task) -> None:
        rank = self._organ.rank(task.pipe.rank)
        air = self._air.get(rank.division)
        own = target_hz(self._organ, task.pipe, air)
        others = tuple(
            # The rank as it stands: moved with the pipe's own target.
            Comb(str(n), task.target_hz / own * target_hz(self._organ, PipeRef(rank.id, n), air))
            for n in range(1, rank.pipes + 1)
            if n != task.pipe.number
        )
        comb = Comb(str(task.pipe), task.target_hz, spectrum_of(self._organ, task.pipe))
        self._tracker.expect(Expected(comb, self._reference, others))

    def _missing(self, task: Task, reading: LiveReading) -> str:
        if LiveFlag.OTHER_KEY in reading.flags and reading.heard is not None:
            rank = self._organ.rank(task.pipe.rank)
            heard = rank.key_of(int(reading.heard))
            return f"{heard.name} is held; hold {task.key.name}"
        if LiveFlag.OCTAVE in reading.flags:
            return "it speaks an overtone: see to its speech first"
        return f"hold {task.key.name}"

    def _following(self) -> Task | None:
        after = [*self._tasks[self._at + 1 :], *self._tasks[: self._at]]
        return next((t for t in after if t.pipe not in self._results), None)

    def _count_done(self) -> int:
        return sum(result.outcome is Outcome.DONE for result in self._results.values())

    def _shown(
        self, step: Step, reading: LiveReading | None, words: str, advice: Advice | None = None
    ) -> Shown:
        return Shown(
            step,
            self.task,
            self._following() if self.task is not None else None,
            reading,
            advice,
            self._work.forecast,
            words,
            self._count_done(),
            len(self._tasks),
        )


_TOLD_MOVE = 0.3  # of what was asked, from which the forecast tells what a move did
