"""In many random organs: how often a plan moves the reference, and whether it says what that buys.

A plan may move the reference by more than 0.3 cent only where it says what that buys;
the gap that is known of each plan is counted too.
"""

from __future__ import annotations

import re

import numpy as np

from bench._organs import a_season_later, invented_organ
from walkboard.condition.assess import assess
from walkboard.planning.choose.problem import STAYS_CENTS
from walkboard.planning.request import PlanRequest
from walkboard.planning.what_if import prepare

ORGANS = 200
MINUTES = (30.0, 120.0, 480.0)


def main(scale: float = 1.0) -> None:
    rng = np.random.default_rng(2027)
    moved, unsaid, bought, gaps, plans = [], 0, [], [], 0
    for number in range(int(ORGANS * scale)):
        organ = invented_organ(61 * int(rng.integers(2, 12)), 9000 + number)
        pipes = a_season_later(organ, 9000 + number)
        condition = assess(organ, pipes, {})
        ready = prepare(organ, condition, pipes)
        for minutes in MINUTES:
            request = PlanRequest(minutes)
            plan = ready.plan(request)
            plans += 1
            gaps.append(plan.gap)
            away = next(iter(ready.above_cents(request, plan).values()))
            if abs(away) <= STAYS_CENTS + 1e-6:
                continue
            moved.append(abs(away))
            said = [re.search(r"leaves ([\d.]+) less badness", note) for note in plan.notes]
            buys = next((float(one[1]) for one in said if one is not None), None)
            if buys is None:
                unsaid += not any("from the organ's present pitch" in note for note in plan.notes)
            else:
                bought.append(buys / max(plan.cost_after, 1e-9))
    print(f"{int(ORGANS * scale)} organs, {plans} plans, {len(moved)} move the reference by more")
    print(f"than {STAYS_CENTS} cent: median {np.median(moved or [0.0]):.1f}, most "
          f"{max(moved, default=0.0):.1f} cents; {unsaid} do not say what that buys")  # fmt: skip
    print(f"what it buys, of the badness left: median {np.median(bought or [0.0]):.1%}, least "
          f"{min(bought, default=0.0):.1%}")  # fmt: skip
    print(f"gap known of the plans: median {np.median(gaps):.2%}, most {max(gaps):.2%}")


if __name__ == "__main__":
    main()
