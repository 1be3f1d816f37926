"""The experiments page for pupils: a few of the guide's clips, near middle C."""

from __future__ import annotations

from typing import Any

import numpy as np

from walkboard.organ.model import Family, Organ
from walkboard.work.guide.gather import GuideStop, PlayedKey, Session

LESSON_KEYS = (60, 64)  # middle C and the E above it


def lesson_stops(organ: Organ, session: Session) -> list[tuple[GuideStop, dict[str, Any]]]:
    """The stops used in the experiments, each with what a pupil should know about it.

    One stop of each kind (open, stopped, reed) and of each octave length from 8′; two open or
    stopped ones at 8′, for beats.
    """
    wanted: dict[tuple[str, float], int] = {}
    found = []
    for stop in session.stops:
        about = _about(organ, stop)
        if about is None:
            continue
        place = (about["kind"], about["multiple"])
        most = 2 if about["multiple"] == 1.0 and about["kind"] != "reed" else 1
        if wanted.get(place, 0) < most and (about["kind"] != "reed" or about["multiple"] == 1.0):
            wanted[place] = wanted.get(place, 0) + 1
            found.append((stop, about))
    return found


def clips_near(stop: GuideStop) -> tuple[PlayedKey, ...]:
    """The clips used for the lessons' keys."""
    nearest = {min(stop.clips, key=lambda played: abs(played.key - key)) for key in LESSON_KEYS}
    return tuple(sorted(nearest, key=lambda played: played.key))


def _about(organ: Organ, stop: GuideStop) -> dict[str, Any] | None:
    ranks = {plays.rank for plays in stop.stop.plays}
    if len(ranks) != 1 or not stop.clips or LESSON_KEYS[0] not in stop.hz:
        return None
    rank = organ.rank(next(iter(ranks)))
    if len(rank.multiples) > 1 or rank.celeste or rank.celeste_beats_hz:
        return None
    # Its measured pitch at its own key relative to 8′: unit stops borrow octaves.
    eight = organ.pitch.a4_hz * 2.0 ** ((LESSON_KEYS[0] - 69) / 12.0)
    octaves = float(np.log2(stop.hz[LESSON_KEYS[0]] / eight))
    if abs(octaves - round(octaves)) > 0.1:
        return None  # a mutation
    kind = {Family.REED: "reed", Family.STOPPED: "stopped"}.get(rank.family, "open")
    return {"kind": kind, "multiple": 2.0 ** round(octaves)}
