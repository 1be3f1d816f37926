"""Is the plan what people hear? Four judges from their papers, hymns on twelve invented organs.

Per cent of the audible excess removed (1 standard error), by the plan, by today's rules of practice
and by the plan that knows the music, in the same minutes. The chorales that made the plan's table
of use (every second one) are not among the hymns, and the organs by which the cost's constants were
fitted (`python -m bench ear_fit`) are not among these. Needs music21 (the bench group), or a file
of chorales made by ``python -m builders.use_of_keys --cache FILE``, named in WALKBOARD_CHORALES.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from builders.use_of_keys import Moment, read_cached

from bench._ear_before import plan_before
from bench._ear_judges import JUDGES, Verdict, scene_of
from bench._ear_organs import Drawn, EarOrgan, ear_organ, registrations
from bench._ear_rules import RULES, tuned_by_rules
from walkboard.condition.assess import assess
from walkboard.organ.targets import target_hz
from walkboard.planning.plan import Plan
from walkboard.planning.request import PlanRequest
from walkboard.planning.value.cost import left_by_tuning_cents
from walkboard.planning.value.use import EventUse, Note, from_notes
from walkboard.planning.what_if import Prepared, prepare
from walkboard.quantities import cents_of_ratio

ORGANS = tuple(range(100, 112))
MINUTES = (60.0, 120.0, 240.0)
MOMENTS = 40  # of each registration
STRAY_CENTS = 10.0


@dataclass(frozen=True)
class Case:
    """One organ with its hymns and its judges.

    Attributes
    ----------
    this : EarOrgan
    drawn : tuple of Drawn
    hymns : mapping of registration's name to list of Moment
    verdict : Verdict
    prepared : Prepared
    left : (pipes,) array
        Where the tuner would leave each pipe against its target [cents], drawn once.
    """

    this: EarOrgan
    drawn: tuple[Drawn, ...]
    hymns: Mapping[str, list[Moment]]
    verdict: Verdict
    prepared: Prepared
    left: np.ndarray

    def after(self, tuned: np.ndarray, target_cents: np.ndarray) -> np.ndarray:
        """Where every pipe stands once the tuned ones are at their targets."""
        return np.where(tuned, target_cents + self.left, self.this.cents)


def music() -> list[list[Moment]]:
    """The chorales that the plan's table was not made from."""
    named = os.environ.get("WALKBOARD_CHORALES")
    path = Path(named) if named else Path(tempfile.gettempdir()) / "walkboard-chorales.json"
    return read_cached(path)[1::2]


def case_of(seed: int, hymns: list[list[Moment]], off_cents: float = 0.0) -> Case:
    """One organ, and a few hymns for each of its registrations."""
    this = ear_organ(seed, off_cents=off_cents)
    rng = np.random.default_rng(9000 + seed)
    drawn = registrations(this)
    chosen: dict[str, list[Moment]] = {}
    for one in drawn:
        moments = [m for i in rng.choice(len(hymns), 3, replace=False) for m in hymns[i]]
        first = int(rng.integers(0, max(1, len(moments) - MOMENTS)))
        chosen[one.name] = moments[first : first + MOMENTS]
    scene = scene_of(this, drawn, chosen)
    hz = _target_hz(this)
    reed = np.concatenate(
        [np.full(r.pipes, not r.family.is_flue, dtype=bool) for r in this.organ.ranks]
    )
    spread = [left_by_tuning_cents(h, reed=bool(r)) for h, r in zip(hz, reed, strict=True)]
    left = rng.normal(0.0, spread)
    prepared = prepare(this.organ, assess(this.organ, this.heard, {}), this.heard)
    return Case(this, drawn, chosen, Verdict.of(scene, this.cents), prepared, left)


def _target_hz(this: EarOrgan) -> np.ndarray:
    return np.array([target_hz(this.organ, p, 18.0) for p in this.organ.pipes()])


def tuned_by_plan(case: Case, plan: Plan) -> tuple[np.ndarray, np.ndarray]:
    """Which pipes a plan tunes, and to where [cents against the organ's own pitch]."""
    pipes = {pipe: i for i, pipe in enumerate(case.this.organ.pipes())}
    tuned = np.zeros(len(pipes), dtype=bool)
    target = np.zeros(len(pipes))
    for item in plan.items:
        place = pipes[item.pipe]
        tuned[place] = True
        target[place] = cents_of_ratio(item.target_hz / target_hz(case.this.organ, item.pipe, 18.0))
    return tuned, target


def event_of(case: Case) -> EventUse:
    """The hymns as an event's music, for the plan that knows it."""
    found = []
    for one in case.drawn:
        at, notes = 0.0, []
        manual = case.this.organ.rank(one.manual[0]).division
        for moment in case.hymns[one.name]:
            end = at + moment.quarters
            notes += [Note(manual, key, at, end) for key in moment.keys]
            if one.pedal:
                notes.append(Note("pedal", moment.bass, at, end))
            at = end
        found.append(from_notes(case.this.organ, (*one.manual, *one.pedal), notes))
    return EventUse(tuple(found))


def strays_left(case: Case, after: np.ndarray, base: np.ndarray) -> int:
    """Pipes that stand more than 10 cents from where they should, in keys C3 to C6."""
    key = np.concatenate(
        [
            np.arange(r.from_key.semitone, r.from_key.semitone + r.pipes)
            for r in case.this.organ.ranks
        ]
    )
    played = (key >= 48) & (key <= 84)
    return int(np.sum(played & (np.abs(after - base) > STRAY_CENTS)))


def plans() -> dict[str, Callable[[Case, float], tuple[np.ndarray, np.ndarray]]]:
    """Each way of choosing: which pipes it tunes, and to where."""

    def ours(case: Case, minutes: float) -> tuple[np.ndarray, np.ndarray]:
        return tuned_by_plan(case, case.prepared.plan(PlanRequest(minutes)))

    def knowing(case: Case, minutes: float) -> tuple[np.ndarray, np.ndarray]:
        return tuned_by_plan(case, case.prepared.plan(PlanRequest(minutes, use=event_of(case))))

    return {
        "plan": ours,
        "plan, music known": knowing,
        "plan of 0.1.0": lambda case, minutes: plan_before(case.this, minutes),
        **{name: _rule(name) for name in RULES},
    }


def _rule(name: str) -> Callable[[Case, float], tuple[np.ndarray, np.ndarray]]:
    return lambda case, minutes: tuned_by_rules(case.this, case.prepared, minutes)[name]


def study(
    organs: tuple[int, ...] = ORGANS,
    minutes: tuple[float, ...] = MINUTES,
    only: tuple[str, ...] = (),
) -> dict[tuple[str, float], np.ndarray]:
    """Excess removed by each way in each visit; arrays (organs, judges + strays left)."""
    hymns = music()
    ways = {name: way for name, way in plans().items() if not only or name in only}
    found: dict[tuple[str, float], list[np.ndarray]] = {}
    for seed in organs:
        case = case_of(seed, hymns)
        base = np.concatenate(
            [np.full(r.pipes, _shift(case, r.division)) for r in case.this.organ.ranks]
        )
        for visit in minutes:
            for name, way in ways.items():
                after = case.after(*way(case, visit))
                row = np.append(100.0 * case.verdict.removed(after), strays_left(case, after, base))
                found.setdefault((name, visit), []).append(row)
    return {key: np.array(rows) for key, rows in found.items()}


def _shift(case: Case, division: str) -> float:
    return case.prepared.condition.divisions[division].shift_cents or 0.0


def table(found: Mapping[tuple[str, float], np.ndarray]) -> None:
    """Means and standard errors, and the plan against the best rule under each judge."""
    for visit in dict.fromkeys(key[1] for key in found):
        print(f"\n{visit:.0f} minutes")
        heads = " ".join(f"{j:>13s}" for j in (*JUDGES, "strays left"))
        print(f"{'':30s} {heads}")
        for (name, at), rows in found.items():
            if at != visit:
                continue
            mean, error = rows.mean(axis=0), rows.std(axis=0, ddof=1) / np.sqrt(len(rows))
            cells = " ".join(f"{m:7.1f} ±{e:4.1f}" for m, e in zip(mean, error, strict=True))
            print(f"{name:30s} {cells}")
        rules = [found[name, visit].mean(axis=0)[:4] for name in RULES if (name, visit) in found]
        if rules and ("plan", visit) in found:
            ratio = found["plan", visit].mean(axis=0)[:4] / np.max(rules, axis=0)
            cells = " ".join(f"{r:12.2f}x" for r in ratio)
            print(f"{'plan over the best rule':30s} {cells}   mean {ratio.mean():.2f}")


def main() -> None:
    """Print the table."""
    begun = time.perf_counter()
    table(study())
    print(f"({time.perf_counter() - begun:.0f} s)")


if __name__ == "__main__":
    main()
