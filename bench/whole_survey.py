"""A whole organ surveyed from synthesised registrations, beside stop by stop.

The invented hall as `walkboard.demo` leaves it (its own synthesiser, detunings, levels, wander, a
room of 2.4 s, a two-channel recorder), walked as the survey's own plan says: every registration,
rendered to a file, heard from the file with the plan's stops and each division's thermometer, and
compared with what the synthesiser knows. A whole survey is over an hour of sound, so only every
so-manieth key of each registration is walked (counted from the keyboard's lowest; a registration
held at fewer keys gives its first). Walks in which one pipe sounds at a time are heard first and
given to the others as heard alone. Stop by stop: the same pipes, each stop by itself at the same
keys; a mixture's rows cannot be drawn alone and sound together there, too.

*Read*: has a value. Errors in cents of values, against the mean frequency in the reading's own
window. Computing time is of all processes together, two at once; "by the clock" is what passed,
whatever else the machine did. Run: python -m bench whole_survey
"""

from __future__ import annotations

import resource
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from walkboard.demo.hall import HallState, hall_state
from walkboard.demo.synthesiser import KeyHolder, WalkTruth
from walkboard.demo.walks import WalkPlan, plan_walk, record
from walkboard.listening.readings import Bounded, Measured
from walkboard.listening.types import HoldFlag
from walkboard.organ import examples
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.quantities import cents_of_ratio
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Reading
from walkboard.survey.plan.make_survey import plan_survey
from walkboard.survey.plan.walk_plan import Pace, SurveyPlan
from walkboard.work.hear_recordings import ToHear, hear_files
from walkboard.work.processes import Progress, finished

SEED = 4_711
EVERY = 6
PROCESSES = 2
PACES = (Pace(4.0, alone_s=2.0), Pace(3.0, alone_s=2.0))
_NEAR_S = 0.4  # a hold is the true one when it begins within this of it


@dataclass(frozen=True)
class _ToRecord:
    plan: WalkPlan
    state: HallState
    seed: int
    folder: Path


@dataclass(frozen=True)
class Walked:
    """A walk that lies in a file, what it is to read, and what is true of it."""

    plan: WalkPlan
    truth: WalkTruth
    reads: frozenset[PipeRef]

    @property
    def alone(self) -> bool:
        return all(len(pipes) < 2 for pipes in self.plan.pipes)


@dataclass
class Result:
    """Of one way to survey."""

    pipes: set[PipeRef] = field(default_factory=set)
    errors: dict[PipeRef, tuple[float, float]] = field(default_factory=dict)
    flags: dict[PipeRef, tuple[str, ...]] = field(default_factory=dict)
    bounds: dict[PipeRef, tuple[float, float]] = field(default_factory=dict)
    lost: list[str] = field(default_factory=list)
    sound_s: float = 0.0
    cpu_s: float = 0.0
    clock_s: float = 0.0


def _record(progress: Progress, asked: _ToRecord) -> WalkTruth:
    del progress
    return record(asked.plan, asked.state, asked.seed, asked.folder).truth


def sampled(organ: Organ, division: str, keys: Sequence[Key], every: int) -> tuple[Key, ...]:
    lowest = organ.division(division).lowest.semitone
    return tuple(k for k in keys if (k.semitone - lowest) % every == 0) or (keys[0],)


def together(
    organ: Organ, plan: SurveyPlan, every: int
) -> list[tuple[WalkPlan, frozenset[PipeRef]]]:
    """The plan's walks at the sampled keys."""
    made = []
    for n, walk in enumerate(plan.walks):
        keys = sampled(organ, walk.division, walk.keys, every)
        holder = KeyHolder(hold_s=plan.pace_of(walk).hold_s, gap_s=plan.pace.gap_s)
        made.append(
            (
                _at(plan_walk(organ, f"together-{n:02}.flac", walk.drawn, holder=holder), keys),
                frozenset(p for key in keys for p in organ.sounding(walk.drawn, key))
                & frozenset(walk.reads),
            )
        )
    return made


def stop_by_stop(
    organ: Organ, wanted: frozenset[PipeRef], pace: Pace
) -> list[tuple[WalkPlan, frozenset[PipeRef]]]:
    """Each stop by itself at the keys that sound what is wanted and not read yet."""
    left = set(wanted)
    made: list[tuple[WalkPlan, frozenset[PipeRef]]] = []
    for stop in sorted(organ.stops, key=lambda stop: len(stop.plays)):
        keys = [k for k in organ.keys_of([stop.id]) if left & set(organ.sounding([stop.id], k))]
        if not keys:
            continue
        several = any(len(organ.sounding([stop.id], key)) > 1 for key in keys)
        held = pace if several else pace.of_one_pipe
        holder = KeyHolder(hold_s=held.hold_s, gap_s=held.gap_s)
        plan = _at(plan_walk(organ, f"alone-{len(made):02}.flac", [stop.id], holder=holder), keys)
        reads = frozenset(p for pipes in plan.pipes for p in pipes) & left
        left -= reads
        made.append((plan, reads))
    return made


def _at(plan: WalkPlan, keys: Sequence[Key]) -> WalkPlan:
    pipes = dict(zip(plan.keys, plan.pipes, strict=True))
    return replace(plan, keys=tuple(keys), pipes=tuple(pipes[key] for key in keys))


def recorded(
    made: Sequence[tuple[WalkPlan, frozenset[PipeRef]]], state: HallState, folder: Path
) -> list[Walked]:
    tasks = [_ToRecord(plan, state, SEED + n, folder) for n, (plan, _) in enumerate(made)]
    truths = {n: f.result() for n, f in finished(_record, tasks, processes=PROCESSES)}
    return [Walked(plan, truths[n], reads) for n, (plan, reads) in enumerate(made)]


def heard(walked: Sequence[Walked], state: HallState, folder: Path) -> Result:
    """All walks heard and compared."""
    result = Result()
    alone: list[HeardWalk] = []
    for group in ([w for w in walked if w.alone], [w for w in walked if not w.alone]):
        walks: dict[int, HeardWalk] = {}
        asked = [
            ToHear(
                folder / w.plan.file,
                examples.hall(),
                w.plan.drawn,
                state.thermometer_celsius[w.plan.division],
                alone=tuple(alone),
            )
            for w in group
        ]
        begun_s, cpu_s = time.perf_counter(), _cpu_s()
        hear_files(asked, walks.__setitem__, processes=PROCESSES)
        result.clock_s += time.perf_counter() - begun_s
        result.cpu_s += _cpu_s() - cpu_s
        alone += walks.values()
        for n, walk in walks.items():
            result.sound_s += walk.sound.seconds
            _compare(result, walk, group[n])
    return result


def _cpu_s() -> float:
    used = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


def _compare(result: Result, walk: HeardWalk, walked: Walked) -> None:
    result.pipes |= walked.reads
    for true in walked.truth.holds:
        near = [h for h in walk.holds if abs(h.start_s - true.start_s) < _NEAR_S]
        hold = min(near, key=lambda h: abs(h.start_s - true.start_s), default=None)
        if hold is None or hold.key != true.key:
            named = "not found" if hold is None else f"named {hold.key}"
            result.lost.append(f"{walked.plan.file} {'+'.join(walk.drawn)} {true.key}: {named}")
            continue
        for reading in hold.readings:
            if reading.pipe not in walked.reads:
                continue
            true_hz = true.mean_hz(reading.pipe, reading.start_s, reading.end_s)
            if not isinstance(reading, Measured):
                result.flags.setdefault(reading.pipe, _why(reading, hold.flags))
                if isinstance(reading, Bounded):
                    bound = reading.bound
                    away_cents = cents_of_ratio(bound.near_hz / true_hz)
                    result.bounds[reading.pipe] = away_cents, bound.bound_cents
                continue
            error = cents_of_ratio(reading.hz / true_hz)
            result.errors[reading.pipe] = error, reading.sigma_cents


def _why(reading: Reading, of_hold: Sequence[HoldFlag]) -> tuple[str, ...]:
    return tuple(f.value for f in (*reading.flags, *of_hold)) or ("no flag",)


def line(title: str, result: Result, holds: int, sample_minutes: float, minutes: float) -> str:
    errors = np.abs([error for error, _ in result.errors.values()])
    sigmas = np.array([sigma for _, sigma in result.errors.values()])
    of = len(result.pipes)
    flagged = len(set(result.flags) - set(result.errors))
    row = f"{title:21}{of:6}{holds:6}{100 * len(errors) / of:8.1f}{100 * flagged / of:10.1f}"
    row += f"{np.median(errors):9.4f}{np.quantile(errors, 0.95):8.4f}"
    row += f"{100 * np.mean(errors > 0.1):9.2f}{100 * np.mean(errors > 1.0):7.2f}"
    row += f"{100 * np.mean(errors < 2.0 * sigmas):7.1f}{sample_minutes:9.1f}{minutes:7.1f}"
    row += f"{PROCESSES * result.sound_s / result.cpu_s:8.1f}"
    return row + f"{result.sound_s / result.clock_s:9.1f}"


def main(every: int = EVERY) -> None:
    organ = read_organ(examples.hall())
    state = hall_state(organ, SEED)
    plans = [plan_survey(organ, pace=pace) for pace in PACES]
    print(f"every {every}. key of each registration")
    print(
        f"{'':21}{'pipes':>6}{'holds':>6}{'read %':>8}{'flagged %':>10}{'median':>9}{'95 %':>8}"
        f"{'>.1 c %':>9}{'>1 c %':>7}{'2σ %':>7}{'minutes':>9}{'whole':>7}{'× real':>8}"
        f"{'by clock':>9}"
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made = [together(organ, plan, every) for plan in plans]
        wanted = frozenset[PipeRef]().union(*(reads for _, reads in made[0]))
        ways = [
            (f"together, {p.hold_s:g} s ({p.of_one_pipe.hold_s:g} s)", m, p, plan.minutes)
            for p, m, plan in zip(PACES, made, plans, strict=True)
        ]
        alone = stop_by_stop(organ, wanted, PACES[0])
        ways.insert(1, ("stop by stop", alone, PACES[0], plans[0].by_rank_minutes))
        for title, of, pace, whole in ways:
            walked = recorded(of, state, folder)
            result = heard(walked, state, folder)
            holds = sum(len(p.keys) for p, _ in of)
            key_s = sum(len(p.keys) * (p.holder.hold_s + pace.gap_s) for p, _ in of)
            minutes = len(of) * pace.setting_minutes + key_s / 60.0
            print(line(title, result, holds, minutes, whole), flush=True)
            print_rest(result, holds)


def print_rest(result: Result, holds: int) -> None:
    """Why pipes were not read, and which readings are furthest off."""
    kinds = Counter(
        flag for pipe, flags in result.flags.items() if pipe not in result.errors for flag in flags
    )
    ranks = Counter(pipe.rank for pipe in result.flags if pipe not in result.errors)
    most = ", ".join(f"{rank} {n}" for rank, n in ranks.most_common(8))
    wrong = f"holds not found or under another key: {len(result.lost)} of {holds}"
    print(f"    not read: {dict(kinds)}, most of {most}; {wrong}")
    for lost in result.lost:
        print(f"      {lost}")
    bounds = {p: b for p, b in result.bounds.items() if p not in result.errors}
    if bounds:
        away, bound = np.array(list(bounds.values())).T
        print(
            f"    bounded: {len(bounds)}, {100 * np.mean(np.abs(away) < bound):.1f} % within, "
            f"median ±{np.median(bound):.2f}, 95 % ±{np.quantile(bound, 0.95):.2f} cent"
        )
    worst = sorted(result.errors.items(), key=lambda e: -abs(e[1][0]))[:5]
    words = (f"{p} {error:+.3f} ± {2 * sigma:.3f}" for p, (error, sigma) in worst)
    print(f"    furthest off: {', '.join(words)}", flush=True)


if __name__ == "__main__":
    main()
