"""The condition as plain values for JSON."""

from __future__ import annotations

import math
from typing import Any

from walkboard.condition.state import Condition, TemperamentCandidate


def condition_to_json(condition: Condition) -> dict[str, Any]:
    """Each division's state and the temperament finding as plain values."""
    finding = condition.temperament
    return {
        "divisions": [
            {
                "division": d.division,
                "shift_cents": d.shift_cents,
                "shift_sigma_cents": d.shift_sigma_cents,
                "told_celsius": d.stated_celsius,
                "implied_celsius": d.implied_celsius,
                "implied_sigma_celsius": d.implied_sigma_celsius,
                "thermometer_celsius": d.thermometer_celsius,
                "agrees": d.agrees,
                "reed_shift_cents": d.reed_shift_cents,
                "reed_shift_sigma_cents": d.reed_shift_sigma_cents,
                "flues": d.flues,
                "reeds": d.reeds,
            }
            for d in condition.divisions.values()
        ],
        "temperament": None
        if finding is None
        else {
            "claimed": None if finding.claimed is None else _candidate(finding.claimed),
            "candidates": [_candidate(candidate) for candidate in finding.candidates],
            "offsets_cents": [None if math.isnan(c) else c for c in finding.offsets_cents],
        },
    }


def _candidate(candidate: TemperamentCandidate) -> dict[str, Any]:
    return {
        "names": list(candidate.names),
        "root": candidate.root,
        "probability": candidate.probability,
    }
