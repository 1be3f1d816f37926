"""What a survey takes: together against rank by rank, by the hold's length and by the rules."""

import time
from dataclasses import replace

from walkboard.organ import examples
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.survey.key_choice import KeysWanted
from walkboard.survey.surveying import every_key, plan_survey
from walkboard.survey.telling_apart import CautiousRules
from walkboard.survey.walk_plan import Pace

CAUTIOUS = CautiousRules()
RULES = {
    "cautious": CAUTIOUS,
    "no limit by register": replace(CAUTIOUS, most_above=()),
    "and up to 10 pipes": replace(CAUTIOUS, most_above=(), most=10),
    "and unisons told apart": replace(CAUTIOUS, most_above=(), most=10, unison_cents=-1.0),
    "and any level": replace(CAUTIOUS, most_above=(), most=10, most_apart_db=99.0, hidden_db=99.0),
}


def line(name: str, organ: Organ, hold_s: float, keys: str, rules: CautiousRules) -> None:
    begun_s = time.process_time()
    choose = KeysWanted.parse(keys) if keys else every_key
    plan = plan_survey(organ, choose=choose, pace=Pace(hold_s), rules=rules)
    took_s = time.process_time() - begun_s
    gap = "not proven" if plan.gap is None else f"{plan.gap:.2%}"
    print(
        f"{name:<34}{hold_s:>5g}{keys or 'all':>9}{len(plan.wanted):>7}{len(plan.walks):>7}"
        f"{plan.holds:>7}{plan.minutes:>9.1f}{gap:>12}{plan.by_rank_minutes:>12.1f}{took_s:>8.1f}",
        flush=True,
    )


def main() -> None:
    organs = {name: read_organ(getattr(examples, name)()) for name in ("village", "hall")}
    print(
        f"{'':<34}{'hold':>5}{'keys':>9}{'pipes':>7}{'walks':>7}{'holds':>7}{'minutes':>9}"
        f"{'from least':>12}{'by rank':>12}{'cpu s':>8}"
    )
    for name, organ in organs.items():
        for keys in ("", "every=2", "every=3", "C,F#"):
            line(name, organ, 4.0, keys, CAUTIOUS)
        for hold_s in (2.0, 8.0):
            line(name, organ, hold_s, "", CAUTIOUS)
    for words, rules in RULES.items():
        line(f"hall, {words}", organs["hall"], 4.0, "", rules)
    for minutes in (60.0, 45.0, 30.0):
        begun_s = time.process_time()
        plan = plan_survey(organs["hall"], minutes=minutes)
        print(
            f"hall in {minutes:g} minutes: every {plan.every}. key, {len(plan.wanted)} pipes, "
            f"{plan.minutes:.1f} minutes; planned in {time.process_time() - begun_s:.1f} CPU s",
            flush=True,
        )
