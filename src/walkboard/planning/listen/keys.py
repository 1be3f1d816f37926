"""Which keys of which registrations to hold for the best plan.

A registration costs the time to set it, a key the time to hold it; a key is worth the sum of
hearing each of its pipes. The choice is a knapsack with set-ups, solved exactly like the plan
(`planning.choose.certify`). If the minutes for listening are not given, they are chosen too:
listening is worthwhile as long as it gains more than the same minutes of tuning.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.organ.model import Organ, PipeRef
from walkboard.planning.arrays import BoolArray, FloatArray
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.task import Level, Task
from walkboard.planning.listen.worth import Hearings, HearingWorth
from walkboard.planning.value.pipe_offsets import Situation
from walkboard.scales.keys import Key
from walkboard.survey.plan.walk_plan import Pace, SurveyWalk

_TURNS = 6  # until the minutes of listening and the price of a minute agree


@dataclass(frozen=True, slots=True)
class Offer:
    """A walk that may be done, in part or whole.

    Attributes
    ----------
    walk : SurveyWalk
    pipes : tuple of tuple of PipeRef
        Pipes heard at each of its keys, in the order of its keys.
    """

    walk: SurveyWalk
    pipes: tuple[tuple[PipeRef, ...], ...]


@dataclass(frozen=True, slots=True)
class ListeningChoice:
    """What to hold.

    Attributes
    ----------
    walks : tuple of SurveyWalk
        Walks with only the keys to hold.
    minutes : float
        Minutes for holding keys and setting stops.
    worth : float
        Expected saving from hearing them [badness].
    price : float
        Price of a minute of the visit [badness].
    """

    walks: tuple[SurveyWalk, ...]
    minutes: float
    worth: float
    price: float

    @property
    def pipes(self) -> tuple[PipeRef, ...]:
        """Every pipe that will be heard."""
        return tuple(dict.fromkeys(pipe for walk in self.walks for pipe in walk.reads))


def offers_of(organ: Organ, walks: Sequence[SurveyWalk]) -> tuple[Offer, ...]:
    """The walks of a survey as offers, each pipe at the first key where it is heard.

    Parameters
    ----------
    organ : Organ
    walks : sequence of SurveyWalk
        From `walkboard.survey.plan.make_survey.plan_survey`.
    """
    seen: set[PipeRef] = set()
    found = []
    for walk in walks:
        reads = set(walk.reads)
        pipes = []
        for key in walk.keys:
            new = [p for p in organ.sounding(walk.drawn, key) if p in reads and p not in seen]
            seen.update(new)
            pipes.append(tuple(new))
        found.append(Offer(walk, tuple(pipes)))
    return tuple(found)


def choose_listening(
    situation: Situation,
    offers: Sequence[Offer],
    minutes: float,
    *,
    listening_minutes: float | None = None,
    reference_cents: float = 0.0,
    pace: Pace | None = None,
) -> ListeningChoice:
    """Keys to hold.

    Parameters
    ----------
    situation : Situation
        Heard pipes, and forecasts for the others.
    offers : sequence of Offer
    minutes : float
        Minutes left of the visit, for listening and tuning.
    listening_minutes : float, optional
        Most minutes for listening; if None, chosen too.
    reference_cents : float
        As `Hearings`.
    pace : Pace, optional
    """
    pace = pace or Pace()
    hearings = Hearings(situation, reference_cents)
    index = {known.pipe: n for n, known in enumerate(situation.known)}
    if listening_minutes is not None:
        at = hearings.at_price(hearings.price(max(0.0, minutes - listening_minutes)))
        worths = _worths(at, offers, index)
        return _chosen(offers, worths, _within(worths, listening_minutes, pace), at.price, pace)
    spent = 0.0
    for _ in range(_TURNS):
        at = hearings.at_price(hearings.price(max(0.0, minutes - spent)))
        worths = _worths(at, offers, index)
        held = _worth_their_minutes(worths, at.price, pace)
        made = _chosen(offers, worths, held, at.price, pace)
        if abs(made.minutes - spent) < 0.1:
            break
        spent = 0.5 * (spent + made.minutes) if spent else made.minutes
    return made


def _worths(
    at: HearingWorth, offers: Sequence[Offer], index: Mapping[PipeRef, int]
) -> list[FloatArray]:
    return [
        np.array([sum(at.worth[index[p]] for p in pipes if p in index) for pipes in offer.pipes])
        for offer in offers
    ]


def _within(worths: Sequence[FloatArray], minutes: float, pace: Pace) -> list[BoolArray]:
    """The best keys within some minutes: a knapsack in which a walk is a set-up."""
    counts = [len(w) for w in worths]
    setting = round(pace.setting_minutes / pace.key_minutes)
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int64)
    gain = np.concatenate(worths)[None, :]
    task = Task(
        references_cents=np.zeros(1),
        untouched=np.array([float(gain.sum())]),
        gain=gain,
        steps=np.ones(gain.shape[1], dtype=np.int64),
        levels=(Level(starts, np.full(len(counts), setting, dtype=np.int64)),),
    )
    taken = choose(task, int(minutes / pace.key_minutes + 1e-9)).pipes
    return list(np.split(taken & (gain[0] > 0.0), starts[1:]))


def _worth_their_minutes(worths: Sequence[FloatArray], price: float, pace: Pace) -> list[BoolArray]:
    """Keys that gain more than the same minutes of tuning."""
    held = []
    for worth in worths:
        over = worth - price * pace.key_minutes
        pays = float(np.maximum(over, 0.0).sum()) > price * pace.setting_minutes
        held.append((over > 0.0) & pays)
    return held


def _chosen(
    offers: Sequence[Offer],
    worths: Sequence[FloatArray],
    held: Sequence[BoolArray],
    price: float,
    pace: Pace,
) -> ListeningChoice:
    walks, worth = [], 0.0
    for offer, values, take in zip(offers, worths, held, strict=True):
        keys: list[Key] = []
        reads: list[PipeRef] = []
        for n in np.flatnonzero(take):
            keys.append(offer.walk.keys[n])
            reads.extend(offer.pipes[n])
        if keys:
            worth += float(values[take].sum())
            walks.append(
                SurveyWalk(
                    offer.walk.division,
                    offer.walk.drawn,
                    tuple(keys),
                    tuple(reads),
                    offer.walk.doubts,
                )
            )
    minutes = pace.minutes(len(walks), sum(len(w.keys) for w in walks))
    return ListeningChoice(tuple(walks), minutes, worth, price)
