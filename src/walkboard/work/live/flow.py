"""The flow at the pipe: the worklist in order, followed live; driven by pages or a script.

Nothing here touches a book, a clock or a device: blocks with their times come in, `Shown` goes out.
`live.judge` decides what a reading means. What is known of a pipe (`live.pipe`) is kept for the
whole visit, even if it is skipped, undone or taken up again. A pipe called done is followed as long
as it keeps sounding; if it moves away it is open again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from walkboard.condition.settling.forecast import Warmth
from walkboard.condition.settling.learned import PastSettling, learn_warmth
from walkboard.condition.settling.moves import Advice, MoveSeen
from walkboard.errors import UnknownNameError
from walkboard.listening.live.readings import LiveFlag, LiveReading
from walkboard.listening.live.tracker import UPDATE_S, Expected, Tracker
from walkboard.listening.types import Comb
from walkboard.organ.celestes import celeste_target_hz, partner_pipe
from walkboard.organ.model import Organ, PipeRef, TunedBy
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.survey.kinds import spectrum_of
from walkboard.work.live.company import SoundsOn
from walkboard.work.live.judge import Ground, judge
from walkboard.work.live.lingering import Lingering, may_linger
from walkboard.work.live.pipe import AtPipe
from walkboard.work.live.values import Outcome, Reason, Result, Shown, Step, Task
from walkboard.work.live.warmth import usual_warmth

TOLERANCE_CENTS = 0.5
_LONGEST_S = 1.2  # longest window: a cooling pipe moves by half a cent a second


class TuningFlow:
    """The worklist at the pipes.

    Parameters
    ----------
    organ : Organ
    tasks : sequence of Task
        In the order of work.
    sample_rate : int
        Sample rate of the source [Hz].
    air_celsius : mapping of division to float
        [°C]; the organ's pitch temperature for divisions not in it.
    tolerance_cents : float
    warmth : mapping of (rank id, TunedBy) to Warmth
        Learned from past pipes (`live.warmth.learned_warmth`); the usual for those not in it.
    update_s : float
        Time between two updates [s].
    """

    def __init__(  # noqa: PLR0917
        self,
        organ: Organ,
        tasks: Sequence[Task],
        sample_rate: int,
        air_celsius: Mapping[str, float],
        tolerance_cents: float = TOLERANCE_CENTS,
        warmth: Mapping[tuple[str, TunedBy], Warmth] | None = None,
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
        self._known: dict[PipeRef, AtPipe] = {}
        self._sounds_on: dict[str, SoundsOn] = {}
        self._lingering: Lingering | None = None
        self._work = AtPipe(Warmth())
        self._at = 0
        first = tasks[0] if tasks else None
        comb = Comb("", 440.0) if first is None else Comb(str(first.pipe), first.target_hz)
        self._tracker = Tracker(sample_rate, Expected(comb), update_s, _LONGEST_S)
        if first is not None:
            self._turn_to(0)

    @property
    def task(self) -> Task | None:
        """The current pipe; None at the end."""
        return self._tasks[self._at] if self._at < len(self._tasks) else None

    @property
    def results(self) -> tuple[Result, ...]:
        """The results of the pipes dealt with, in that order."""
        return tuple(self._results[pipe] for pipe in self._order)

    @property
    def settlings(self) -> tuple[PastSettling, ...]:
        """What was learned about how pipes settle, by tuning device."""
        found = (result.settling for result in self.results)
        return tuple(settling for settling in found if settling is not None)

    def hear_beside(self, reference: Comb | None) -> None:
        """Expect a reference pipe to sound together with the current pipe, or none."""
        self._reference = reference
        self._lingering = None
        if self.task is not None:
            self._expect(self.task)

    def skip(self) -> Task | None:
        """Leave the current pipe for later and go on; returns the next."""
        if self.task is not None:
            self._put(self.task, Outcome.SKIPPED, None)
            self._go_on()
        return self.task

    def come_back(self, pipe: PipeRef) -> Task:
        """Take up a pipe of the worklist, whatever its state.

        Raises
        ------
        UnknownNameError
            If it is not on the worklist.
        """
        for index, task in enumerate(self._tasks):
            if task.pipe == pipe:
                self._forget(pipe)
                self._work.leave()
                self._turn_to(index)
                return task
        raise UnknownNameError(f"The worklist has no pipe {pipe}.", fix="Name one that is on it.")

    def undo(self) -> Task | None:
        """Undo the last result (done or skipped) and take that pipe up again."""
        if not self._order:
            return self.task
        return self.come_back(self._order[-1])

    def take(self, samples: NDArray[np.floating], start_s: float) -> tuple[Shown, ...]:
        """Take in a block; returns an update if one is due.

        Parameters
        ----------
        samples : ndarray, shape (n,) or (n, channels)
        start_s : float
            Time of the first sample, by the source's clock [s].
        """
        if self.task is None and self._lingering is None:
            return ()
        return tuple(self._update(reading) for reading in self._tracker.take(samples, start_s))

    def show(self) -> Shown:
        """The current state of the flow, without a new reading."""
        task = self.task
        if task is None:
            return self._shown(Step.END, None, "the worklist is finished")
        words = f"hold {task.key.name}"
        return self._shown(Step.HOLD, None, words)

    def _update(self, reading: LiveReading) -> Shown:
        if self._lingering is not None:
            gone = self._linger(reading)
            if gone is not None:
                return gone
            return self.show()
        task = self.task
        if task is None:
            return self.show()
        self._sounds_on.setdefault(task.pipe.rank, SoundsOn()).see(reading)
        verdict = judge(task, reading, self._work, self._ground(task))
        if verdict.move is not None:
            self._moves.setdefault(task.pipe.rank, []).append(verdict.move)
        if verdict.settled_cents is not None and verdict.settled_sigma_cents is not None:
            return self._finish(task, reading, verdict.settled_cents, verdict.settled_sigma_cents)
        return self._shown(verdict.step, reading, verdict.words, verdict.advice, verdict.reason)

    def _ground(self, task: Task) -> Ground:
        rank = self._organ.rank(task.pipe.rank)
        levels = [
            work.free_db
            for pipe, work in self._known.items()
            if pipe.rank == rank.id and pipe != task.pipe and work.free_db is not None
        ]
        return Ground(
            self._organ,
            self._air.get(rank.division, self._organ.pitch.at_celsius),
            self._tolerance,
            float(np.median(levels)) if levels else None,
            self._moves.get(rank.id, ()),
            self._sounds_on[rank.id].label,
        )

    def _linger(self, reading: LiveReading) -> Shown | None:
        """Whether a pipe that was just called done and keeps sounding stays where it was.

        If not, returns what to show, and the pipe is open again. Once it is no longer heard, the
        next one is expected.
        """
        lingering = self._lingering
        assert lingering is not None
        work = self._known[lingering.result.task.pipe]
        cents, sigma_cents = reading.cents, reading.sigma_cents
        if lingering.is_over(reading) or cents is None or sigma_cents is None:
            self._end_linger()
            return None
        if lingering.others or LiveFlag.UNSTEADY in reading.flags:
            return None
        louder = work.see_level(reading, None)
        if not lingering.has_moved(cents, sigma_cents):
            return None
        result = lingering.result
        self._forget(result.task.pipe)
        self._lingering = None
        if louder or work.free_db is not None:
            work.forget_heard()
        work.move(reading.at_s)
        index = next(n for n, task in enumerate(self._tasks) if task.pipe == result.task.pipe)
        self._at, self._work = index, work
        words = f"{result.task.key.name} has moved: not done"
        shown = self._shown(Step.MOVE, reading, words)
        return replace(shown, withdrawn=result)

    def _end_linger(self) -> None:
        if self._lingering is None:
            return
        self._lingering = None
        if self.task is not None:
            self._expect(self.task)

    def _finish(
        self, task: Task, reading: LiveReading, settled_cents: float, sigma_cents: float
    ) -> Shown:
        result = self._put(task, Outcome.DONE, reading, settled_cents, sigma_cents)
        forecast = self._work.forecast
        left = "as it was" if self._work.handled_s is None else "done"
        stood, own_db = reading.cents, reading.own_db
        self._go_on(lingers=True)
        if self._may_linger(task) and stood is not None and own_db is not None:
            self._lingering = Lingering(result, stood, own_db, reading.at_s)
        elif self.task is not None:
            self._expect(self.task)
        return Shown(
            Step.DONE if self.task is not None else Step.END,
            self.task,
            self._following(),
            reading,
            None,
            forecast,
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
        forecast, settling = work.forecast, None
        was_asked = work.stood_cents is not None  # otherwise it only wandered, or was bumped
        if outcome is Outcome.DONE and forecast is not None and was_asked:
            settling = PastSettling(
                self._organ.rank(task.pipe.rank).tuned_by_of(task.pipe.number).value,
                forecast.log_tau,
                forecast.log_tau_sigma,
                forecast.offset_cents,
                forecast.offset_sigma_cents,
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

    def _may_linger(self, task: Task) -> bool:
        following = self.task
        return following is not None and self._reference is None and may_linger(task, following)

    def _go_on(self, *, lingers: bool = False) -> None:
        """Go to the next open pipe: after this one, or else from the beginning."""
        self._work.leave()
        count = len(self._tasks)
        for step in range(1, count + 1):
            index = (self._at + step) % count
            if self._tasks[index].pipe not in self._results:
                self._turn_to(index, lingers=lingers)
                return
        self._at = count

    def _turn_to(self, index: int, *, lingers: bool = False) -> None:
        self._at = index
        task = self._tasks[index] = self._beside_partner(self._tasks[index])
        rank = self._organ.rank(task.pipe.rank)
        known = self._known.get(task.pipe)
        if known is None:
            known = AtPipe(self._warmth_of(rank.id, rank.tuned_by_of(task.pipe.number)))
            self._known[task.pipe] = known
        self._work = known
        if not lingers:
            self._lingering = None
            self._expect(task)

    def _beside_partner(self, task: Task) -> Task:
        """The task, with a celeste's target set from its partner as just left."""
        partner = partner_pipe(self._organ, task.pipe)
        done = None if partner is None else self._results.get(partner)
        if done is None or done.settled_cents is None:
            return task
        left_hz = done.task.target_hz * ratio_of_cents(done.settled_cents)
        return replace(task, target_hz=celeste_target_hz(self._organ, task.pipe, left_hz))

    def _warmth_of(self, rank_id: str, tuned_by: TunedBy) -> Warmth:
        """What is expected of a rank's pipes: from the book, and from this visit."""
        known = self._warmth.get((rank_id, tuned_by)) or usual_warmth(tuned_by)
        kind = tuned_by.value
        return learn_warmth((s for s in self.settlings if s.kind == kind), known).get(kind, known)

    def _expect(self, task: Task) -> None:
        rank = self._organ.rank(task.pipe.rank)
        air = self._air.get(rank.division)
        own = target_hz(self._organ, task.pipe, air)
        others = tuple(
            # The rank at its current pitch: moved with the pipe's own target.
            Comb(str(n), task.target_hz / own * target_hz(self._organ, PipeRef(rank.id, n), air))
            for n in range(1, rank.pipes + 1)
            if n != task.pipe.number
        )
        comb = Comb(str(task.pipe), task.target_hz, spectrum_of(self._organ, task.pipe))
        self._tracker.expect(Expected(comb, self._reference, others))

    def _following(self) -> Task | None:
        after = [*self._tasks[self._at + 1 :], *self._tasks[: self._at]]
        return next((t for t in after if t.pipe not in self._results), None)

    def _count_done(self) -> int:
        return sum(result.outcome is Outcome.DONE for result in self._results.values())

    def _shown(
        self,
        step: Step,
        reading: LiveReading | None,
        words: str,
        advice: Advice | None = None,
        reason: Reason = Reason.NONE,
    ) -> Shown:
        return Shown(
            step,
            self.task,
            self._following() if self.task is not None else None,
            reading,
            advice,
            self._work.handled_forecast,
            words,
            self._count_done(),
            len(self._tasks),
            reason=reason,
        )
