"""What a survey takes: together against rank by rank, by the hold's length and by the rules."""

import time
from dataclasses import replace

from walkboard.organ import examples
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.survey.plan.key_choice import KeysWanted
from walkboard.survey.plan.make_survey import every_key, plan_survey
from walkboard.survey.plan.rules import CautiousRules
from walkboard.survey.plan.walk_plan import Pace

CAUTIOUS = CautiousRules()
FREE = replace(CAUTIOUS, most_above=(), most=10)
RULES = {
    "no limit by register, 10 pipes": FREE,
    "and all unisons separated": replace(FREE, unison_cents=-1.0),
}
ONE_LENGTH = Pace(4.0)
USUAL = Pace(4.0, alone_s=2.0)
BRISK = Pace(3.0, alone_s=2.0)
QUICK = Pace(2.0)


def line(
    name: str, organ: Organ, pace: Pace, *, keys: str = "", rules: CautiousRules = CAUTIOUS
) -> None:
    begun_s = time.process_time()
    choose = KeysWanted.parse(keys) if keys else every_key
    plan = plan_survey(organ, choose=choose, pace=pace, rules=rules)
    took_s = time.process_time() - begun_s
    gap = "not proven" if plan.gap is None else f"{plan.gap:.2%}"
    held = f"{pace.hold_s:g} ({pace.of_one_pipe.hold_s:g})"
    print(
        f"{name:<38}{held:>7}{keys or 'all':>9}{len(plan.wanted):>7}{len(plan.walks):>7}"
        f"{plan.holds:>7}{plan.minutes:>9.1f}{gap:>12}{plan.by_rank_minutes:>9.1f}{took_s:>8.1f}",
        flush=True,
    )


def main() -> None:
    village, hall = (read_organ(getattr(examples, name)()) for name in ("village", "hall"))
    print("s held (where one pipe sounds at a time)")
    print(
        f"{'':<38}{'held':>7}{'keys':>9}{'pipes':>7}{'walks':>7}{'holds':>7}{'minutes':>9}"
        f"{'from least':>12}{'by rank':>9}{'cpu s':>8}"
    )
    line("village", village, USUAL)
    for pace in (ONE_LENGTH, USUAL, BRISK, QUICK):
        line("hall", hall, pace)
    for pace in (USUAL, BRISK):
        for keys in ("every=2", "every=3", "C,F#"):
            line("hall", hall, pace, keys=keys)
    for words, rules in RULES.items():
        line(f"hall, {words}", hall, USUAL, rules=rules)
    begun_s = time.process_time()
    plan = plan_survey(hall, pace=BRISK, minutes=30.0)
    print(
        f"hall in 30 minutes: every {plan.every}. key, {len(plan.wanted)} pipes, "
        f"{plan.minutes:.1f} minutes; planned in {time.process_time() - begun_s:.1f} CPU s",
        flush=True,
    )
