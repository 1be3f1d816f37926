"""Invented organs for the ear study: stops as organs have them, registrations as hymns use them.

Nothing here is shared with `walkboard.planning`: spectra, levels and the state a season leaves are
drawn by chance, so that a plan is out of range by sharing the study's own assumptions. Figures are
common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from walkboard.condition.state import PipeCents
from walkboard.organ.model import Family, Organ
from walkboard.organ.reading import read_organ

PARTIALS = 10

# name, feet, family, tuned_by, voice, share of organs that have it
_GREAT = (
    ("Bourdon", "16", "stopped", "stopper", "flute", 0.6),
    ("Principal", "8", "open", "slide", "principal", 1.0),
    ("Flute", "8", "stopped", "stopper", "flute", 0.9),
    ("Gamba", "8", "open", "slide", "string", 0.5),
    ("Octave", "4", "open", "slide", "principal", 1.0),
    ("Spitz Flute", "4", "chimney", "cap", "flute", 0.5),
    ("Twelfth", "2 2/3", "open", "cone", "principal", 0.6),
    ("Fifteenth", "2", "open", "cone", "principal", 0.9),
    ("Mixture I", "", "open", "cone", "principal", 0.8),
    ("Mixture II", "", "open", "cone", "principal", 0.8),
    ("Mixture III", "", "open", "cone", "principal", 0.5),
    ("Trumpet", "8", "reed", "spring", "reed", 0.7),
)
_SWELL = (
    ("Diapason", "8", "open", "slide", "principal", 0.6),
    ("Gedackt", "8", "stopped", "stopper", "flute", 1.0),
    ("Salicional", "8", "open", "slide", "string", 0.7),
    ("Celeste", "8", "open", "slide", "celeste", 0.5),
    ("Principal", "4", "open", "slide", "principal", 0.8),
    ("Flute", "4", "chimney", "cap", "flute", 0.7),
    ("Nasard", "2 2/3", "open", "cone", "flute", 0.4),
    ("Flageolet", "2", "open", "cone", "flute", 0.7),
    ("Plein jeu I", "", "open", "cone", "principal", 0.5),
    ("Plein jeu II", "", "open", "cone", "principal", 0.5),
    ("Oboe", "8", "reed", "spring", "reed", 0.8),
    ("Trompette", "8", "reed", "spring", "reed", 0.5),
    ("Clarion", "4", "reed", "spring", "reed", 0.3),
)
_CHOIR = (
    ("Flute", "8", "chimney", "cap", "flute", 1.0),
    ("Dulciana", "8", "open", "slide", "string", 0.7),
    ("Flute", "4", "stopped", "stopper", "flute", 0.9),
    ("Piccolo", "2", "open", "cone", "flute", 0.7),
    ("Cromorne", "8", "reed", "spring", "reed", 0.6),
)
_PEDAL = (
    ("Subbass", "16", "stopped", "stopper", "flute", 1.0),
    ("Principal", "16", "open", "slide", "principal", 0.4),
    ("Octave", "8", "open", "slide", "principal", 0.9),
    ("Choralbass", "4", "open", "slide", "principal", 0.6),
    ("Posaune", "16", "reed", "spring", "reed", 0.6),
)
_BREAKS = {
    name: "[" + ", ".join(f'{{from = "{k}", interval = {i}}}' for k, i in rows) + "]"
    for name, rows in {
        "I": (("C2", 15), ("C4", 12), ("C5", 8)),
        "II": (("C2", 19), ("C4", 15), ("C5", 12)),
        "III": (("C2", 22), ("C4", 19), ("C5", 15)),
    }.items()
}


@dataclass(frozen=True, slots=True)
class EarOrgan:
    """An organ with what the judges need: how each pipe sounds, and where it really stands.

    Attributes
    ----------
    organ : Organ
    voice : mapping of rank id to str
    amplitudes : (pipes, partials) array
    cents : (pipes,) array
        Where each pipe really stands against its target.
    heard : list of PipeCents
        The readings, true but for 0.1 cent.
    """

    organ: Organ
    voice: dict[str, str]
    amplitudes: np.ndarray
    cents: np.ndarray
    heard: list[PipeCents]


@dataclass(frozen=True, slots=True)
class Drawn:
    """One registration of a hymn: ranks under the hands, and under the feet."""

    name: str
    manual: tuple[str, ...]
    pedal: tuple[str, ...]


def ear_organ(seed: int, *, off_cents: float = 0.0) -> EarOrgan:
    """One organ of 15 to 40 ranks and the state that a season has left it in."""
    rng = np.random.default_rng(seed)
    divisions = [("great", _GREAT, 58), ("swell", _SWELL, 58), ("pedal", _PEDAL, 30)]
    if rng.random() < 0.4:
        divisions.insert(2, ("choir", _CHOIR, 58))
    rows = ["format = 1", f'name = "Ear organ {seed}"', 'temperament = "equal"']
    rows += ["[pitch]", "a4_hz = 440.0", "at_celsius = 18.0"]
    voice: dict[str, str] = {}
    for division, stops, keys in divisions:
        rows += ["[[division]]", f'id = "{division}"', f'name = "{division}"', f"keys = {keys}"]
        chests = [f"{division}.{n}" for n in range(int(rng.integers(1, 3)))]
        for chest in chests:
            rows += ["[[chest]]", f'id = "{chest}"', f'division = "{division}"']
            rows += [f"minutes = {float(rng.choice([1.0, 2.0, 3.0]))}"]
        for name, feet, family, tuned_by, sort, share in stops:
            if rng.random() > share:
                continue
            rank = f"{division}.{name.lower().replace(' ', '_')}{feet.split()[0] if feet else ''}"
            rows += ["[[rank]]", f'id = "{rank}"', f'division = "{division}"', f'name = "{name}"']
            rows += [f"pipes = {keys}", f'chest = "{rng.choice(chests)}"', f'family = "{family}"']
            rows.append(f'tuned_by = "{tuned_by}"')
            rows.append(f"breaks = {_BREAKS[name.split()[-1]]}" if not feet else f'feet = "{feet}"')
            if sort == "celeste":
                rows.append("beats = 2.0")
            voice[rank] = sort
    organ = read_organ("\n".join(rows))
    amplitudes = _amplitudes(organ, voice, rng)
    cents = _a_season_later(organ, rng) + off_cents
    noise = rng.normal(0.0, 0.1, len(cents))
    level = 10.0 * np.log10((amplitudes**2).sum(axis=1)) - 30.0 + rng.normal(0.0, 1.0, len(cents))
    heard = [
        PipeCents(pipe, float(c + e), 0.1, float(db), 18.0)
        for pipe, c, e, db in zip(organ.pipes(), cents, noise, level, strict=True)
    ]
    return EarOrgan(organ, voice, amplitudes, cents, heard)


def _amplitudes(organ: Organ, voice: dict[str, str], rng: np.random.Generator) -> np.ndarray:
    partial = np.arange(1, PARTIALS + 1)
    rows = []
    slope = {"principal": 8.0, "flute": 14.0, "string": 4.0, "celeste": 4.0, "reed": 3.0}
    level = {"principal": 0.0, "flute": -4.0, "string": -7.0, "celeste": -7.0, "reed": 3.0}
    for rank in organ.ranks:
        sort = voice[rank.id]
        fall = slope[sort] + rng.normal(0.0, 1.5)
        base = -fall * np.log2(partial)
        if rank.family is Family.STOPPED:
            base = base - np.where(partial % 2 == 0, rng.uniform(12.0, 25.0), 0.0)
        if sort == "reed":
            base = base + 3.0 * np.sin(partial * rng.uniform(0.5, 1.5))
        loud = level[sort] + rng.normal(0.0, 2.0) - (5.0 if rank.breaks_back else 0.0)
        for number in range(1, rank.pipes + 1):
            hz = 440.0 * 2.0 ** ((rank.key_of(number).semitone - 69) / 12.0)
            at = hz * float(rank.multiple_of(number)) * partial
            dull = -10.0 * np.log10(1.0 + (at / 5000.0) ** 2)
            own = rng.normal(0.0, 1.5) + rng.normal(0.0, 2.0, PARTIALS)
            one = 10.0 ** ((base + dull + own) / 20.0)
            one[at > 12_000.0] = 0.0
            power = np.sqrt(np.sum(one**2))
            rows.append(one / max(float(power), 1e-9) * 10.0 ** (loud / 20.0))
    return np.array(rows)


def _a_season_later(organ: Organ, rng: np.random.Generator) -> np.ndarray:
    """Ranks moved, pipes wandered, some strayed; reeds left behind by the air."""
    air = {d.id: rng.normal(0.0, 1.0) for d in organ.divisions}
    cents = []
    for rank in organ.ranks:
        reed = rank.family is Family.REED
        moved = rng.normal(-2.0, 3.0) if reed else rng.normal(0.0, 0.6)
        own = rng.uniform(1.5, 3.5) if reed else rng.uniform(0.8, 2.2)
        strays = rng.uniform(0.03, 0.12)
        each = moved + own * rng.standard_t(5, rank.pipes) / np.sqrt(5 / 3)
        stray = rng.random(rank.pipes) < strays
        each[stray] += rng.choice([1.0, -1.0, -1.0], stray.sum()) * rng.lognormal(
            2.2, 0.6, stray.sum()
        )
        cents.append(np.clip(each, -60.0, 60.0) + air[rank.division])
    return np.concatenate(cents)


def registrations(this: EarOrgan) -> tuple[Drawn, ...]:
    """Up to seven registrations for hymns; those that draw the same ranks are one."""

    def of(division: str, *sorts: str, feet: tuple[str, ...] = ()) -> tuple[str, ...]:
        return tuple(
            rank.id
            for rank in this.organ.ranks
            if rank.division == division
            and this.voice[rank.id] in sorts
            and (not feet or (not rank.breaks_back and rank.id.split(".")[1][-1:] in feet))
        )

    pedal = of("pedal", "flute", "principal", feet=("6", "8"))
    soft_pedal = of("pedal", "flute")
    full_pedal = of("pedal", "flute", "principal", "reed")
    great = of("great", "principal", "flute")
    drawn = (
        Drawn("foundations", of("great", "principal", "flute", feet=("8", "4")), pedal),
        Drawn("chorus to 2", of("great", "principal", feet=("8", "4", "2")), pedal),
        Drawn("plenum", great, full_pedal[:-1] if len(full_pedal) > 2 else full_pedal),
        Drawn("flutes", of("swell", "flute", feet=("8", "4")), soft_pedal),
        Drawn("swell chorus", of("swell", "principal", "flute"), pedal),
        Drawn("full swell", of("swell", "principal", "reed", "string"), full_pedal),
        Drawn("great with reeds", of("great", "principal", "reed"), full_pedal),
    )
    once: dict[tuple[tuple[str, ...], tuple[str, ...]], Drawn] = {}
    for one in drawn:
        if one.manual:
            once.setdefault((one.manual, one.pedal), one)
    return tuple(once.values())
