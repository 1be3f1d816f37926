"""JSON of a plan: ``walkboard plan --json``, format 1."""

from __future__ import annotations

from typing import Any

from walkboard.planning.plan import Plan

FORMAT = 1


def plan_to_json(plan: Plan) -> dict[str, Any]:
    """A plan as plain values for JSON."""
    return {
        "format": FORMAT,
        "minutes": plan.minutes,
        "reference": [
            {
                "division": reference.division,
                "shift_cents": reference.shift_cents,
                "air_celsius": reference.air_celsius,
                "event_celsius": reference.event_celsius,
            }
            for reference in plan.reference
        ],
        "items": [
            {
                "order": item.order,
                "pipe": str(item.pipe),
                "cents": item.cents,
                "target_hz": item.target_hz,
                "move": item.move,
                "minutes": item.minutes,
                "why": item.why,
                "gain": item.gain,
            }
            for item in plan.items
        ],
        "cost_before": plan.cost_before,
        "cost_after": plan.cost_after,
        "cost_bound": plan.cost_bound,
        "gap": plan.gap,
        "minutes_used": plan.minutes_used,
        "walk_minutes": plan.walk_minutes,
        "walk_bound_minutes": plan.walk_bound_minutes,
        "notes": list(plan.notes),
        "curve": [{"minutes": point.minutes, "cost": point.cost} for point in plan.curve],
    }
