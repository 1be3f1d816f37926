"""How often the temperament is found from noisy notes, and how often a claim is right."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from walkboard.condition.candidates import candidates
from walkboard.condition.temperament import temperament_of
from walkboard.scales.temperament import NOTES, Temperament, known, names

TRIALS = 400
_A = 9


@dataclass(frozen=True, slots=True)
class Scene:
    """What is heard: octaves of so many ranks; noise and error of setting the notes [cents]."""

    label: str
    octaves: int
    ranks: int = 1
    noise: float = 2.0
    strays: float = 0.08
    setting: float = 0.0


SCENES = (
    Scene("1 octave", 1),
    Scene("2 octaves", 2),
    Scene("5 octaves", 5),
    Scene("5 octaves, 20 % strays", 5, strays=0.2),
    Scene("5 octaves, noise 4", 5, noise=4.0),
    Scene("5 octaves, 8 ranks", 5, ranks=8),
    Scene("5 octaves, 8 ranks, set 0.5", 5, ranks=8, setting=0.5),
)


@dataclass(slots=True)
class Tally:
    """Shares of all trials: right, claims, claims that are right; for ours and for squares."""

    right: int = 0
    claims: int = 0
    claims_right: int = 0

    def add(self, *, right: bool, claimed: bool) -> None:
        self.right += right
        self.claims += claimed
        self.claims_right += right and claimed


def offsets_of(table: Temperament) -> np.ndarray:
    """Offsets from equal temperament with A at zero, C to B [cents]."""
    above: np.ndarray = np.array(table.cents_above_c) - 100.0 * np.arange(12)
    above -= above[_A]
    return above


def by_squares(cents: np.ndarray, notes: np.ndarray, tables: np.ndarray) -> tuple[int, float]:
    """Table with the smallest squares, and its posterior were all errors normal with 2 cents."""
    off = cents - tables[:, notes]
    logs = -0.5 * ((off - off.mean(axis=1, keepdims=True)) ** 2).sum(axis=1) / 4.0
    chance = np.exp(logs - logs.max())
    return int(np.argmax(logs)), float(chance.max() / chance.sum())


def measure(scene: Scene, trials: int = TRIALS, seed: int = 11) -> tuple[Tally, Tally, float]:
    """Tally of ours and of least squares, and our milliseconds a trial."""
    rng = np.random.default_rng(seed)
    truths = [known(name).rotated(note) for name in names() for note in NOTES]
    merged = candidates(None)
    tables = np.array([c.offsets_cents for c in merged])
    ours, squares, spent = Tally(), Tally(), 0.0
    for _ in range(trials):
        offsets = offsets_of(truths[rng.integers(len(truths))])
        notes = np.tile(np.arange(12), scene.octaves * scene.ranks)
        rank = np.repeat(np.arange(scene.ranks), 12 * scene.octaves)
        cents = rng.uniform(-10.0, 10.0) + rng.normal(0.0, 0.6, scene.ranks)[rank]
        cents += (offsets + rng.normal(0.0, scene.setting, 12))[notes]
        cents += rng.normal(0.0, scene.noise, len(notes))
        strayed = rng.random(len(notes)) < scene.strays
        cents += strayed * rng.choice([-1.0, 1.0], len(notes)) * rng.uniform(5.0, 25.0, len(notes))
        start = time.process_time()
        found = temperament_of(cents, np.full(len(cents), 0.1), notes, rank)
        spent += time.process_time() - start
        truth = int(np.argmin(np.abs(tables - offsets).max(axis=1)))
        right = found.candidates[0].names == merged[truth].names
        ours.add(right=right, claimed=found.claimed is not None)
        guess, chance = by_squares(cents, notes, tables)
        squares.add(right=guess == truth, claimed=chance > 0.95)
    return ours, squares, 1e3 * spent / trials


def main() -> None:
    """Print the table."""
    print(f"Temperament: {TRIALS} trials a row; the truth is any table on any root, equally likely")
    print(f"({len(candidates(None))} distinct). Strays 5 to 25 cents either way.\n")
    print(
        f"{'heard':28s} {'right':>6s} {'claims':>7s} {'right of them':>14s}   "
        f"{'least squares: right':>20s} {'claims':>7s} {'right of them':>14s} {'ms':>6s}"
    )
    for scene in SCENES:
        ours, squares, ms = measure(scene)
        print(
            f"{scene.label:28s} {ours.right / TRIALS:6.3f} {ours.claims / TRIALS:7.3f} "
            f"{ours.claims_right / max(1, ours.claims):14.3f}   {squares.right / TRIALS:20.3f} "
            f"{squares.claims / TRIALS:7.3f} "
            f"{squares.claims_right / max(1, squares.claims):14.3f} {ms:6.0f}"
        )


if __name__ == "__main__":
    main()
