"""Invented organs of any size, and the state that a season has left them in."""

from __future__ import annotations

import numpy as np

from walkboard.condition.state import PipeCents
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.planning.value.use import EventUse, Note, RegistrationUse, from_notes

_DIVISIONS = ("great", "swell", "positive", "pedal", "solo", "echo")
_FLUES = (
    ("open", "8", "slide"),
    ("open", "4", "slide"),
    ("stopped", "8", "stopper"),
    ("open", "2", "cone"),
    ("chimney", "4", "cap"),
    ("open", "2 2/3", "cone"),
    ("open", "16", "slide"),
    ("stopped", "16", "stopper"),
    ("open", "8", "roll"),
    ("mixture", "", "cone"),
    ("mixture", "", "cone"),
)
_REEDS = ("8", "8", "16", "4")
_BREAKS = ((19, 15, 12), (22, 19, 15))
_PEDAL_BREAKS = (19,)
_BREAK_AT = {"C2": 0, "C4": 24, "C5": 36}  # semitones above the lowest pipe
REED_SHARE = 0.18


def invented_organ(pipes: int, seed: int, *, celestes: bool = False) -> Organ:
    """An organ of about so many pipes; ranks, chests and walks by chance.

    With celestes, every second open 8' of a manual beats with the one before it.
    """
    rng = np.random.default_rng(seed)
    divisions = _DIVISIONS[: int(np.clip(pipes // 350, 2, 6))]
    rows = ["format = 1", f'name = "Invented organ {seed}"', 'temperament = "equal"']
    rows += ["[pitch]", "a4_hz = 440.0", "at_celsius = 18.0"]
    chests: dict[str, list[str]] = {}
    for division in divisions:
        keys = 32 if division == "pedal" else 61
        rows += ["[[division]]", f'id = "{division}"', f'name = "{division}"', f"keys = {keys}"]
        chests[division] = [f"{division}.{n}" for n in range(int(rng.integers(1, 4)))]
        for chest in chests[division]:
            minutes = float(rng.choice([1.0, 2.0, 3.0, 5.0]))
            rows += ["[[chest]]", f'id = "{chest}"', f'division = "{division}"']
            rows += [f"minutes = {minutes}"]
    made = number = 0
    open_8: dict[str, int] = {}
    while made < pipes:
        division = divisions[number % len(divisions)]
        count = min(32 if division == "pedal" else 61, max(12, pipes - made))
        rank = f"{division}.rank{number}"
        rows += ["[[rank]]", f'id = "{rank}"', f'division = "{division}"']
        rows += [f"pipes = {count}", f'chest = "{rng.choice(chests[division])}"']
        if rng.random() < REED_SHARE:
            rows += ['family = "reed"', f'feet = "{rng.choice(_REEDS)}"', 'tuned_by = "spring"']
        else:
            family, feet, tuned_by = _FLUES[int(rng.integers(len(_FLUES)))]
            rows.append(f'tuned_by = "{tuned_by}"')
            if family == "mixture":
                which = _PEDAL_BREAKS if division == "pedal" else _BREAKS[int(rng.integers(2))]
                rows += ['family = "open"', f"breaks = {_breaks(which, count)}"]
            else:
                rows += [f'family = "{family}"', f'feet = "{feet}"']
                if celestes and (family, feet) == ("open", "8") and count == 61:
                    open_8[division] = open_8.get(division, 0) + 1
                    rows += ["beats = 2.0"] if open_8[division] % 2 == 0 else []
        rows.append(f'name = "Rank {number}"')
        made += count
        number += 1
    return read_organ("\n".join(rows))


def _breaks(intervals: tuple[int, ...], pipes: int) -> str:
    """The breaks of a mixture rank that its pipes reach: the last rank of an organ may be short."""
    rows = [
        f'{{from = "{key}", interval = {interval}}}'
        for (key, above), interval in zip(_BREAK_AT.items(), intervals, strict=False)
        if above < pipes
    ]
    return f"[{', '.join(rows)}]"


def a_season_later(organ: Organ, seed: int, off_cents: float = 0.0) -> list[PipeCents]:
    """Readings of every pipe: ranks moved, pipes wandered, some slipped, reeds left behind.

    `off_cents` is where the whole organ stands above its description's pitch.
    """
    rng = np.random.default_rng(seed)
    heard = []
    air = {division.id: rng.normal(0.0, 1.5) for division in organ.divisions}
    rank_of = {
        rank.id: (rng.normal(0.0, 0.6), rng.normal(-4.0, 3.0), rng.normal(0.0, 3.0))
        for rank in organ.ranks
    }
    for pipe in organ.pipes():
        rank = organ.rank(pipe.rank)
        moved, behind, level = rank_of[rank.id]
        if rank.family.is_flue:
            cents = moved + rng.normal(0.0, 1.5)
            if rng.random() < 0.06:
                cents += rng.choice([1.0, 1.0, 1.0, -1.0]) * rng.uniform(4.0, 25.0)
        else:
            cents = behind + rng.normal(0.0, 2.5)
            if rng.random() < 0.10:
                cents += rng.choice([-1.0, 1.0]) * rng.uniform(5.0, 25.0)
            level += 5.0
        cents += off_cents + air[rank.division]
        level += -26.0 + rng.normal(0.0, 1.5)
        heard.append(PipeCents(pipe, float(cents), 0.1, float(level), organ.pitch.at_celsius))
    return heard


PIECES = 4
PIECE_SECONDS = 300.0


def an_event(organ: Organ, seed: int) -> EventUse:
    """A recital of four pieces, each on two divisions and the pedal with two stops in five drawn.

    Four voices wander over the keyboard by chance, two on each manual, one on the pedal.
    """
    rng = np.random.default_rng(seed)
    manuals = [d.id for d in organ.divisions if d.keys >= 40]
    pedals = [d.id for d in organ.divisions if d.keys < 40]
    pieces: list[RegistrationUse] = []
    for _ in range(PIECES):
        own = [str(d) for d in rng.choice(manuals, min(2, len(manuals)), replace=False)]
        drawn = [
            stop.id
            for stop in organ.stops
            if stop.division in {*own, *pedals} and rng.random() < 0.4
        ]
        notes = []
        for division in [*own, *own, *pedals]:
            keys = organ.division(division)
            low, high = keys.lowest.semitone, keys.highest.semitone
            at, key = 0.0, int(rng.integers(low + 8, high - 8))
            while at < PIECE_SECONDS:
                key = int(np.clip(key + rng.choice([-4, -2, -1, 0, 1, 2, 4]), low, high))
                held = float(rng.choice([0.3, 0.6, 1.2, 2.4]))
                notes.append(Note(division, key, at, at + held))
                at += held
        pieces.append(from_notes(organ, drawn, notes))
    return EventUse(tuple(pieces))
