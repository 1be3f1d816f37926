"""What to listen to: how much of the benefit of hearing all is kept by hearing a few."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bench._organs import invented_organ
from bench.drift import history_of
from walkboard.condition.drift.filter import OrganDrift
from walkboard.condition.drift.forecast import Forecast, at_visit, follow, forecast
from walkboard.condition.drift.history import PastVisit, figures
from walkboard.condition.state import PipeCents
from walkboard.demo.years.course import OrganYears, simulate_years
from walkboard.demo.years.weather import quarterly
from walkboard.organ.model import Organ, PipeRef
from walkboard.planning.listen.foreseen import foreseen, weights_of
from walkboard.planning.listen.keys import Offer, choose_listening, offers_of
from walkboard.planning.listen.quick_look import keys_to_begin_with, quick_look
from walkboard.planning.pitch import division_pitches
from walkboard.planning.plan import Plan
from walkboard.planning.request import PlanRequest
from walkboard.planning.value.cost import chance_stray, heard_badness
from walkboard.planning.value.pipe_offsets import REFERENCES_CENTS
from walkboard.planning.what_if import Prepared, prepare
from walkboard.scales.keys import Key
from walkboard.survey.plan.make_survey import plan_survey
from walkboard.survey.plan.walk_plan import Pace, SurveyWalk

PIPES, EARLIER = 2400, 12  # visits before the one that is planned
SEEDS = range(1, 4)
# of the cold start: other organs than those on which the number of first keys was chosen (1 to 6)
COLD_SEEDS = range(7, 13)
ROUNDS = (0.4, 0.3, 0.2, 0.1)  # of the minutes for listening
SINGLY = Pace(hold_s=6.0, gap_s=0.0, setting_minutes=0.0)  # a pipe at a time, setting free


@dataclass(frozen=True, eq=False)
class Case:
    """One organ at one visit: its history, and the truth that only the simulator knows."""

    organ: Organ
    past: tuple[PastVisit, ...]
    visit: PastVisit  # every pipe heard
    truth: tuple[PipeCents, ...]
    offers: tuple[Offer, ...]
    singly: tuple[Offer, ...]


def case(seed: int) -> Case:
    organ = invented_organ(PIPES, seed)
    rng = np.random.default_rng([seed, 23])
    years: OrganYears = simulate_years(
        organ,
        rng,
        quarterly(organ, rng, EARLIER + 1),
        listen=lambda at, r: (
            np.ones(len(at.reed), dtype=np.bool_)
            if at.number == EARLIER
            else r.random(int(at.rank_of.max()) + 1)[at.rank_of] < 0.4
        ),
    )
    *past, last = history_of(years)
    truth = tuple(replace(p, sigma_cents=0.01) for p in last.heard)
    singly = tuple(
        Offer(
            SurveyWalk(rank.division, (rank.id,), keys, pipes),
            tuple((pipe,) for pipe in pipes),
        )
        for rank in organ.ranks
        for pipes in [tuple(PipeRef(rank.id, n) for n in range(1, rank.pipes + 1))]
        for keys in [tuple(Key(30 + n) for n in range(rank.pipes))]
    )
    return Case(
        organ, tuple(past), replace(last, left={}), truth,
        offers_of(organ, plan_survey(organ).walks), singly,
    )  # fmt: skip


def true_cost(case: Case, prepared: Prepared, plan: Plan | None) -> float:
    """Badness that a plan really leaves.

    Pipes that are left alone stand where they stand; those tuned are where the plan wanted them,
    which is off where it was wrong about its division. What all are judged against is the pitch
    at which the whole then sounds best.
    """
    found = prepared.problem(PlanRequest(minutes=0.0)).situation
    untouched = found.cost
    if plan is None:
        return float(untouched.sum(axis=1).min())
    pitches = division_pitches(case.organ, prepared.condition, None)
    wanted = {r.division: r.shift_cents - pitches[r.division].above_cents for r in plan.reference}
    items = {item.pipe for item in plan.items}
    tuned = np.array([known.pipe in items for known in found.known])
    off = np.array([wanted[case.organ.rank(k.pipe.rank).division] for k in found.known])[tuned]
    left = heard_badness(
        off - REFERENCES_CENTS[:, None], found.left_cents[tuned], found.beat_hz[tuned]
    )
    risk = found.chance_worse[tuned]
    stray = chance_stray(off - REFERENCES_CENTS[:, None], found.left_cents[tuned])
    stray = found.stray[tuned] * (stray + risk * (1.0 - stray))
    after = (found.weight[tuned] * (left + risk * (1.0 - left)) + stray).sum(axis=1)
    return float((untouched[:, ~tuned].sum(axis=1) + after).min())


def plan_from(case: Case, forecast: Forecast, heard: Sequence[PipeCents], minutes: float) -> Plan:
    known = foreseen(case.organ, forecast, heard)
    prepared = prepare(case.organ, known.condition, heard, forecasts=known.forecasts)
    return prepared.plan(PlanRequest(minutes=minutes))


def listen_in_rounds(
    case: Case,
    past: Sequence[PastVisit],
    offers: Sequence[Offer],
    minutes: float,
    listening: float | None,
    *,
    pace: Pace,
    rounds: Sequence[float] = ROUNDS,
) -> tuple[Forecast, list[PipeCents], float, float]:
    """Listen, filter, listen again; the forecast, what was heard, minutes, longest choice [s]."""
    before = follow(case.organ, past)
    truth = {p.pipe: p for p in case.visit.heard}
    heard: dict[PipeRef, PipeCents] = {}
    spent, longest = 0.0, 0.0
    for walk in first_look(case, before, offers, listening, pace):
        heard |= {pipe: truth[pipe] for pipe in walk.reads}
        spent += pace.minutes(1, len(walk.keys))
    looked = spent
    for share in rounds:
        begun = time.process_time()
        visit = replace(case.visit, heard=tuple(heard.values()))
        _, forecast = at_visit(before, visit)
        known = foreseen(case.organ, forecast, tuple(heard.values()))
        problem = prepare(
            case.organ, known.condition, tuple(heard.values()), forecasts=known.forecasts
        ).problem(PlanRequest(minutes=minutes))
        left = [
            replace(o, pipes=tuple(tuple(p for p in ps if p not in heard) for ps in o.pipes))
            for o in offers
        ]
        chosen = choose_listening(
            problem.situation,
            left,
            minutes - spent if listening is None else minutes,
            listening_minutes=None if listening is None else share * (listening - looked),
            pace=pace,
        )
        longest = max(longest, time.process_time() - begun)
        if listening is None:  # of what is worth its minutes now, hear a part, then look again
            chosen = choose_listening(
                problem.situation, left, minutes - spent,
                listening_minutes=share * chosen.minutes / sum(rounds[rounds.index(share):]),
                pace=pace,
            )  # fmt: skip
        heard |= {pipe: truth[pipe] for pipe in chosen.pipes}
        spent += chosen.minutes
    _, forecast = at_visit(before, replace(case.visit, heard=tuple(heard.values())))
    return forecast, list(heard.values()), spent, longest


def first_look(
    case: Case,
    before: OrganDrift,
    offers: Sequence[Offer],
    listening: float | None,
    pace: Pace,
) -> tuple[SurveyWalk, ...]:
    """The quick look that every visit with some minutes for listening begins with."""
    (seen,) = figures(case.organ, [replace(case.visit, heard=())])
    ahead = before.copy()
    ahead.pass_to(seen.year)
    weight = weights_of(case.organ, forecast(before, case.visit.at, case.visit.air_celsius))
    keys = keys_to_begin_with(before)
    if pace.setting_minutes > 0.0:
        return quick_look(ahead, seen, offers, weight, keys=keys)
    # a pipe at a time: as many pipes as so many keys of three ranks let hear, at most two of a rank
    # and a quarter of the listening, of an organ never heard a third
    most = 0.25 if before.year is not None else 1.0 / 3.0
    pipes = min(3 * keys, 2 * len(offers), int(most * (listening or 0.0) / pace.key_minutes))
    return quick_look(ahead, seen, offers, weight, keys=pipes, at_once=2)


def kept(
    case: Case, past: Sequence[PastVisit], minutes: float, share: float
) -> tuple[float, float]:
    """Share of the benefit of hearing all that is kept by hearing a share of the pipes."""
    prepared = prepare(case.organ, _all(case).condition, case.truth)
    before = true_cost(case, prepared, None)
    whole = before - true_cost(case, prepared, plan_from_all(case, minutes))
    pipes = share * len(case.truth)
    forecast, heard, _, longest = listen_in_rounds(
        case, past, case.singly, minutes, pipes * SINGLY.key_minutes, pace=SINGLY
    )
    plan = plan_from(case, forecast, heard, minutes)
    return (before - true_cost(case, prepared, plan)) / whole, longest


def plan_from_all(case: Case, minutes: float) -> Plan:
    known = _all(case)
    return prepare(case.organ, known.condition, case.visit.heard).plan(PlanRequest(minutes=minutes))


def _all(case: Case):
    _, forecast = at_visit(follow(case.organ, case.past), case.visit)
    return foreseen(case.organ, forecast, case.visit.heard)


def table(cases: Sequence[Case]) -> None:
    cold_cases = [case(seed) for seed in COLD_SEEDS]
    print(
        f"Share of the benefit of hearing all that is kept, {len(cases)} organs of {PIPES} pipes, "
        f"{len(cold_cases)} at the cold start"
    )
    print(f"{'':34s} {'mean':>6s} {'least':>6s} {'choice s':>8s}")
    for name, minutes, share, cold in (
        ("150 min, nothing heard", 150.0, 0.0, False),
        ("150 min, 5 % heard", 150.0, 0.05, False),
        ("150 min, 10 % heard", 150.0, 0.10, False),
        ("150 min, 15 % heard", 150.0, 0.15, False),
        ("300 min, 25 % heard", 300.0, 0.25, False),
        ("150 min, cold start, 15 % heard", 150.0, 0.15, True),
    ):
        found = [
            kept(c, () if cold else c.past, minutes, share) for c in (cold_cases if cold else cases)
        ]
        values = [f[0] for f in found]
        print(
            f"{name:34s} {np.mean(values):6.3f} {min(values):6.3f} {max(f[1] for f in found):8.2f}",
            flush=True,
        )


def within_the_visit(cases: Sequence[Case], minutes: float = 150.0) -> None:
    """Listening paid from the visit's own minutes, three ranks and more at once."""
    print(f"\nListening within the {minutes:.0f} minutes, registrations of a survey, settings paid")
    print(f"{'minutes for listening':24s} {'spent':>6s} {'heard':>6s} {'kept':>6s} {'least':>6s}")
    whole = []
    for c in cases:
        prepared = prepare(c.organ, _all(c).condition, c.truth)
        before = true_cost(c, prepared, None)
        whole.append((prepared, before, before - true_cost(c, prepared, plan_from_all(c, minutes))))
    for name, listening in (
        ("none", 0.0),
        ("5 %", 0.05 * minutes),
        ("10 %", 0.10 * minutes),
        ("20 %", 0.20 * minutes),
        ("40 %", 0.40 * minutes),
        ("chosen", None),
    ):
        rows = []
        for c, (prepared, before, best) in zip(cases, whole, strict=True):
            forecast, heard, spent, _ = (
                (at_visit(follow(c.organ, c.past), replace(c.visit, heard=()))[1], [], 0.0, 0.0)
                if listening == 0.0
                else listen_in_rounds(c, c.past, c.offers, minutes, listening, pace=Pace())
            )
            plan = plan_from(c, forecast, heard, minutes - spent)
            kept_here = (before - true_cost(c, prepared, plan)) / best
            rows.append((spent, len(heard) / len(c.truth), kept_here))
        spent, share, kept_mean = np.mean(rows, axis=0)
        least = min(row[2] for row in rows)
        print(f"{name:24s} {spent:6.1f} {share:6.2f} {kept_mean:6.3f} {least:6.3f}", flush=True)


def main() -> None:
    """Print the tables."""
    cases = [case(seed) for seed in SEEDS]
    table(cases)
    within_the_visit(cases)


if __name__ == "__main__":
    main()
