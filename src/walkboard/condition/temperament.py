"""Finds the temperament from a posterior that can abstain.

Every known temperament on each of its twelve roots is a candidate; those that give the same twelve
pitches are one. Only pipes whole octaves from their key count (mutations and mixtures are pure to
their unison in any temperament). Readings are relative to the description's temperament and are
converted to equal temperament first, so the answer does not depend on the description.

Within a rank, pipes scatter normally about the candidate's pitches, a few have strayed sharp or
flat; the rank's own pitch is free, so neither air nor a rank that moved as a whole matters. Two
guards keep the posterior from being more certain than tuning allows:

* the tuner sets one octave and copies it, so an error of a note is common to all its pipes. The
  likelihood is raised to the power (v/n)/(v/n + τ²), with v the variance of a reading, n the pipes
  of a note and τ the error of setting it (a coarsened posterior; Miller & Dunson 2019, J. Am. Stat.
  Assoc. 114:1113): beyond some dozens of pipes per note, more of them add nothing;
* 'none of these' is a candidate too: twelve free pitches.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.condition.candidates import Candidate, candidates
from walkboard.condition.kinds import Role, is_octave
from walkboard.condition.location import FloatArray, IntArray, rank_curves
from walkboard.condition.state import PipeCents, TemperamentCandidate, TemperamentFinding
from walkboard.organ.model import Organ

NONE_OF_THESE = "none of these"
CLAIMED = 0.95
SHOWN = 0.005  # candidates less probable than this are not listed

CORE_CENTS = 2.0  # how a note's pipes scatter; common practice, no source
NEGLECTED_CENTS, NEGLECTED_CHANCE = 4.0, 0.3  # or this, in an organ left alone for long
SETTING_CENTS = 0.5  # τ: how well the notes of the reference octave are set; as above
# A claim needs so many of the pipes within three times the scatter of the claimed pitches.
NEAR_SHARE = 0.6
FREE_CENTS = 6.0  # spread of the pitches of 'none of these' about equal temperament
STRAY_SHARES = (0.02, 0.08)
FEWEST_NOTES = 7  # with fewer notes of the octave heard, no result
# Candidates this far behind the best in log posterior, with all ranks merged, are not examined
# closely.
_FAR_BEHIND = 15.0

_STEP = 0.2
_OWN_PITCH = 15.0  # how far a rank's pitch may be from the middle of its pipes


@dataclass(frozen=True, slots=True)
class _Heard:
    """Pipes that count: cents from equal temperament, σ, pitch class, and index of the rank."""

    cents: FloatArray
    sigma: FloatArray
    note: IntArray
    rank: IntArray


def find_temperament(
    organ: Organ, role: Mapping[str, Role], pipes: Sequence[PipeCents]
) -> TemperamentFinding | None:
    """Temperament of the organ's flues.

    Parameters
    ----------
    organ : Organ
    role : mapping of rank id to Role
    pipes : sequence of PipeCents
        Each pipe once.

    Returns
    -------
    TemperamentFinding or None
        None if fewer than seven notes of the octave were heard on unison ranks.
    """
    heard = _telling(organ, role, pipes)
    if len(np.unique(heard.note)) < FEWEST_NOTES:
        return None
    return _find(heard, candidates(organ.temperament))


def temperament_of(
    cents: FloatArray, sigma_cents: FloatArray, notes: IntArray, ranks: IntArray
) -> TemperamentFinding:
    """The same from bare numbers.

    Parameters
    ----------
    cents, sigma_cents : (n,) arrays
        Deviations from equal temperament at any pitch, and their standard deviations.
    notes : (n,) array of int
        Pitch classes, 0 is C.
    ranks : (n,) array of int
        Which rank each pipe is of; only sameness counts.
    """
    _, rank = np.unique(ranks, return_inverse=True)
    return _find(_Heard(cents, sigma_cents, notes, rank), candidates(None))


def _telling(organ: Organ, role: Mapping[str, Role], pipes: Sequence[PipeCents]) -> _Heard:
    rows: list[tuple[float, float, int, int]] = []
    number = {rank.id: index for index, rank in enumerate(organ.ranks)}
    for pipe in pipes:
        rank = organ.rank(pipe.pipe.rank)
        if role[rank.id] is not Role.UNISON or not is_octave(rank, pipe.pipe.number):
            continue
        key = rank.key_of(pipe.pipe.number)
        cents = pipe.cents + organ.temperament.offset_cents(key)
        rows.append((cents, pipe.sigma_cents, key.pitch_class, number[rank.id]))
    table = np.array(rows, dtype=np.float64).reshape(-1, 4)
    note = table[:, 2].astype(np.int64)
    _, rank_index = np.unique(table[:, 3], return_inverse=True)
    return _Heard(table[:, 0], table[:, 1], note, rank_index)


def _find(heard: _Heard, known: Sequence[Candidate]) -> TemperamentFinding:
    tables = np.array([candidate.offsets_cents for candidate in known])
    tables -= tables.mean(axis=1, keepdims=True)  # the pitch is free, so centre them on zero
    curves = _Curves(heard, reach=float(np.abs(tables).max()) + FREE_CENTS)
    pipes_a_note = len(heard.cents) / len(np.unique(heard.note))
    variance = (CORE_CENTS**2 + float(np.median(heard.sigma**2))) / pipes_a_note
    power = variance / (variance + SETTING_CENTS**2)
    near = curves.near(tables, _FAR_BEHIND / power)
    logs = np.full(len(tables), -np.inf)
    logs[near] = curves.evidence(tables[near])
    best = int(np.argmax(logs))
    none = logs[best] + curves.none_against(tables[best])
    prior = np.array([candidate.chance for candidate in known])
    none_chance = max(candidate.table_chance for candidate in known)
    every = power * np.append(logs, none) + np.log(np.append(prior, none_chance))
    posterior = np.exp(every - _log_sum(every))
    found = [
        TemperamentCandidate(candidate.names, candidate.root, float(chance))
        for candidate, chance in zip(known, posterior[:-1], strict=True)
    ]
    found.append(TemperamentCandidate((NONE_OF_THESE,), 0, float(posterior[-1])))
    found.sort(key=lambda candidate: -candidate.probability)
    listed = tuple(c for i, c in enumerate(found) if i == 0 or c.probability >= SHOWN)
    first = listed[0]
    sure = first.probability > CLAIMED and first.names != (NONE_OF_THESE,)
    claimed = first if sure and _share_near(heard, tables[best]) >= NEAR_SHARE else None
    return TemperamentFinding(listed, claimed, curves.offsets(tables[best]))


def _share_near(heard: _Heard, table: FloatArray) -> float:
    """Share of the pipes near where a table puts them, rank by rank."""
    off = heard.cents - table[heard.note]
    for rank in np.unique(heard.rank):
        off[heard.rank == rank] -= np.median(off[heard.rank == rank])
    return float(np.mean(np.abs(off) <= 3.0 * CORE_CENTS))


class _Curves:
    """Log likelihood of each rank's pipes of each note, along a grid of the note's pitch."""

    def __init__(self, heard: _Heard, reach: float) -> None:
        self._half = int(np.ceil(_OWN_PITCH / _STEP))
        self._pad = int(np.ceil(reach / _STEP)) + 1
        self._middle = self._half + self._pad
        wide = _grid(self._middle)
        self._notes = np.unique(heard.note)
        ranks = int(heard.rank.max()) + 1
        scenes = len(_scene_chances())
        self._curve = np.zeros((ranks, len(self._notes), scenes, len(wide)))
        for rank in range(ranks):
            start = float(np.median(heard.cents[heard.rank == rank]))
            for index, note in enumerate(self._notes):
                part = (heard.rank == rank) & (heard.note == note)
                if part.any():
                    self._curve[rank, index] = rank_curves(
                        heard.cents[part] - start,
                        heard.sigma[part],
                        (CORE_CENTS, NEGLECTED_CENTS),
                        wide,
                        STRAY_SHARES,
                    ).reshape(scenes, len(wide))

    def near(self, tables: FloatArray, behind: float) -> IntArray:
        """Tables worth a close look, from all ranks aligned at their medians."""
        rough = _log_sum(_log_sum(self._along(self._curve.sum(axis=0), tables)))
        return np.flatnonzero(rough >= rough.max() - behind)

    def evidence(self, tables: FloatArray) -> FloatArray:
        """Log evidence of each table of twelve offsets, with the pitch of every rank free."""
        total = np.tile(_scene_chances(), (len(tables), 1))
        for curve in self._curve:
            total += _log_sum(self._along(curve, tables))
        return _log_sum(total)

    def _along(self, curve: FloatArray, tables: FloatArray) -> FloatArray:
        """Log likelihood of one rank's pipes with the rank at each place of the grid."""
        width = 2 * self._half + 1
        along = np.zeros((len(tables), curve.shape[1], width))
        for index, note in enumerate(self._notes):
            moves, back = np.unique(_steps(tables[:, note]), return_inverse=True)
            window = np.lib.stride_tricks.sliding_window_view(curve[index], width, axis=-1)
            along += window[:, self._pad + moves].swapaxes(0, 1)[back]
        return along

    def aligned(self, table: FloatArray) -> FloatArray:
        """Curve of each note summed over ranks, each rank moved to where the table puts it."""
        notes = np.zeros((len(self._notes), self._curve.shape[-1] - 2 * self._half))
        for curve in self._curve:
            along = _log_sum(self._along(curve, table[None])[0].T)
            off = int(np.argmax(along))
            notes += _log_sum(curve.swapaxes(1, 2))[:, off : off + notes.shape[1]]
        return notes

    def none_against(self, table: FloatArray) -> float:
        """Log evidence of twelve free pitches minus that of a fixed table."""
        aligned = self.aligned(table)
        prior = -0.5 * (self._places / FREE_CENTS) ** 2
        free = _log_sum(aligned + prior - _log_sum(prior))
        held = aligned[np.arange(len(self._notes)), self._pad + _steps(table[self._notes])]
        return float(np.sum(free - held))

    def offsets(self, table: FloatArray) -> tuple[float, ...]:
        """Heard offsets from equal temperament, A at zero; nan where no pipe was heard."""
        aligned = self.aligned(table)
        weight = np.exp(aligned - aligned.max(axis=1, keepdims=True))
        heard = np.full(12, np.nan)
        heard[self._notes] = weight @ self._places / weight.sum(axis=1)
        # if no A was heard, the best candidate supplies it
        a = table[9] if np.isnan(heard[9]) else heard[9]
        return tuple(float(value - a) for value in heard)

    @property
    def _places(self) -> FloatArray:
        return _grid(self._pad)


def _scene_chances() -> FloatArray:
    """Log prior of each pair of scatter and shares of strays."""
    chances: FloatArray = np.repeat(
        [1.0 - NEGLECTED_CHANCE, NEGLECTED_CHANCE], len(STRAY_SHARES) ** 2
    )
    return np.log(chances)


def _grid(half: int) -> FloatArray:
    """Places so many steps either side of zero [cents]."""
    places: FloatArray = _STEP * np.arange(-half, half + 1, dtype=np.float64)
    return places


def _steps(cents: FloatArray) -> IntArray:
    return np.rint(cents / _STEP).astype(np.int64)


def _log_sum(logs: FloatArray) -> FloatArray:
    """Log-sum-exp over the last axis."""
    peak = logs.max(axis=-1)
    total: FloatArray = peak + np.log(np.exp(logs - peak[..., None]).sum(axis=-1))
    return total
