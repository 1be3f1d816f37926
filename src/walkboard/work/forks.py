"""Forks in words: what several devices did, and what to do about it."""

from __future__ import annotations

from typing import Any

from walkboard.book.records import Fork, ForkKind, ForkSide

_WHAT = {
    ForkKind.OPEN_VISITS: "{n} visits are open",
    ForkKind.CLOSINGS: "{about} was closed {n} times",
    ForkKind.MISSED_WORK: "{about} was worked on without knowing that it was closed",
    ForkKind.FIXES: "{about} was fixed {n} times",
    ForkKind.HEARINGS: "{about} was analysed {n} times",
    ForkKind.DESCRIPTIONS: "The organ was described {n} times",
    ForkKind.PLANS: "{about} has {n} plans",
    ForkKind.CONDITIONS: "The conditions of {about} were corrected {n} times",
    ForkKind.CORRECTIONS: "{about} was corrected {n} times",
    ForkKind.EVENTS: "The event {about} was changed {n} times",
    ForkKind.WEIGHTS: "The weight of {about} was changed {n} times",
    ForkKind.LINKS: "{about} was linked {n} times",
    ForkKind.CARES: "Who fixes {about} was noted {n} times",
    ForkKind.CONTACTS: "The contact {about} was changed {n} times",
    ForkKind.NEXT_VISITS: "The next visit was set {n} times",
    ForkKind.AIR_LOGS: "The air log was corrected {n} times",
    ForkKind.NAMES: "{n} organs have this name",
}
_TO_DO = {
    ForkKind.OPEN_VISITS: "Close the one that is done.",
    ForkKind.MISSED_WORK: "Look at it, and close the visit again: walkboard visit close --visit N.",
    ForkKind.DESCRIPTIONS: "Compare them, and store one that is right.",
    ForkKind.NAMES: "Rename one of them in its description.",
    ForkKind.HEARINGS: "Hear the recording again, or relabel it, if the one that counts is wrong.",
}
_OTHERWISE = "Change it again if the one that counts is wrong."


def sentence(fork: Fork) -> str:
    """A fork in one line: what was done, on which devices, which counts, what to do.

    The sides come in the order of the facts: that of each device's own numbering, and of the
    clocks only where nobody knew of the other.
    """
    what = _WHAT[fork.kind].format(n=len(fork.sides), about=fork.about)
    sides = "; ".join(map(_side, fork.sides))
    advice = "" if fork.kind.is_settled else f" {_TO_DO.get(fork.kind, _OTHERWISE)}"
    return f"{what[:1].upper()}{what[1:]}: {sides}.{advice}"


def _side(side: ForkSide) -> str:
    words = f" ({side.words})" if side.words else ""
    arrived = "" if side.arrived_at is None else f", received {side.arrived_at:%Y-%m-%d %H:%M}"
    counts = ", which counts" if side.counts else ""
    return f"one from {side.device!r}{words}, {side.noted_at:%Y-%m-%d %H:%M}{arrived}{counts}"


def fork_json(fork: Fork) -> dict[str, Any]:
    """A fork as JSON; times are ISO 8601 in UTC."""
    return {
        "kind": fork.kind.value,
        "about": fork.about,
        "sides": [
            {
                "device": side.device,
                "id": side.id,
                "words": side.words,
                "noted_at": side.noted_at.isoformat(),
                "arrived_at": None if side.arrived_at is None else side.arrived_at.isoformat(),
                "counts": side.counts,
            }
            for side in fork.sides
        ],
    }
