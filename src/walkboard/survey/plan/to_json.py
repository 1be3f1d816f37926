"""The JSON form of a survey plan: ``walkboard survey-plan --json``, format 1.

Fields may be added, but never renamed or dropped.
"""

from __future__ import annotations

from typing import Any

from walkboard.survey.plan.walk_plan import SurveyPlan

FORMAT = 1


def survey_plan_to_json(plan: SurveyPlan) -> dict[str, Any]:
    """A plan as plain values for JSON."""
    return {
        "format": FORMAT,
        "organ": plan.organ,
        "hold_s": plan.pace.hold_s,
        "alone_s": plan.pace.of_one_pipe.hold_s,
        "gap_s": plan.pace.gap_s,
        "setting_minutes": plan.pace.setting_minutes,
        "minutes_given": plan.minutes_given,
        "minutes": plan.minutes,
        "bound_minutes": plan.bound_minutes,
        "gap": plan.gap,
        "by_rank_minutes": plan.by_rank_minutes,
        "holds": plan.holds,
        "pipes": len(plan.wanted),
        "every": plan.every,
        "walks": [
            {
                "n": n,
                "division": walk.division,
                "drawn": list(walk.drawn),
                "runs": [
                    {"from": run.lowest.name, "to": run.highest.name, "step": run.step}
                    for run in walk.runs
                ],
                "keys": [key.name for key in walk.keys],
                "hold_s": plan.pace_of(walk).hold_s,
                "minutes": plan.minutes_of(walk),
                "reads": [str(pipe) for pipe in walk.reads],
                "doubts": [doubt.words().replace("♯", "#") for doubt in walk.doubts],
            }
            for n, walk in enumerate(plan.walks, start=1)
        ],
        "left_out": [str(pipe) for pipe in plan.left_out],
        "unheard": [str(pipe) for pipe in plan.unheard],
    }
