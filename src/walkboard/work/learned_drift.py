"""What was learned about an organ's drift, stored in the book's folder so that it is learned only
once.

One file per history: ``worked-out/drift-<hash>.json``. The hash covers everything the result
depends on: the program's version, the usual sizes that learning starts from, the organ's
description, every reading and every tuning used by the drift model. If any of these changes, the
file is not found, and the drift is learned again. The folder may be removed at any time.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from types import MappingProxyType
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from walkboard import __version__
from walkboard.condition.drift import fit
from walkboard.condition.drift.fit import AS_USUAL, Learned, learn
from walkboard.condition.drift.history import PastVisit
from walkboard.condition.drift.kinds import CommonHabits, DriftKind, Habits, Recalibration
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.work.write_files import write_file

FOLDER = "worked-out"
MOST_KEPT = 12  # files; the oldest are removed

_Size = Annotated[float, Field(gt=0.0, lt=1e3, allow_inf_nan=False)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Habits(_Strict):
    wander_cents: _Size
    rank_cents: _Size
    slips_a_year: _Size
    slip_cents: _Size
    own_cents: _Size
    common_cents: _Size
    left_cents: _Size


class _Common(_Strict):
    visit_cents: _Size
    place_cents: _Size
    organ_cents: _Size
    division_cents: _Size


class _Recalibration(_Strict):
    near: _Size
    far: _Size
    far_share: Annotated[float, Field(ge=0.0, le=1.0)]
    slips: _Size


class _Kept(_Strict):
    format: Annotated[int, Field(ge=1, le=1)]
    habits: dict[DriftKind, _Habits]
    common: _Common
    recalibration: dict[DriftKind, _Recalibration]
    readings: dict[DriftKind, Annotated[int, Field(ge=0)]]


def learned_of(folder: Path, description: str, organ: Organ, past: Sequence[PastVisit]) -> Learned:
    """How an organ's pipes drift: as stored, else learned now and stored.

    Parameters
    ----------
    folder : Path
        The book's folder. If it cannot be written, nothing is stored.
    description : str
        The organ's whole description.
    organ : Organ
    past : sequence of PastVisit
        Oldest first.
    """
    place = folder / FOLDER / f"drift-{_hash(description, past)}.json"
    known = _read(place)
    if known is None:
        known = learn(organ, past)
        _keep(place, known)
    return known


def _hash(description: str, past: Sequence[PastVisit]) -> str:
    whole = hashlib.sha256()
    for word in _rests_on(description, past):
        whole.update(word.encode())
        whole.update(b"\n")
    return whole.hexdigest()


def _rests_on(description: str, past: Sequence[PastVisit]) -> Iterator[str]:
    yield __version__
    yield str(fit.METHOD)
    yield repr((AS_USUAL.habits, AS_USUAL.common, AS_USUAL.recalibration))
    yield json.dumps(description)
    for visit in past:
        yield f"visit {visit.at.isoformat()} {sorted(visit.air_celsius.items())!r}"
        for p in visit.heard:
            yield f"{p.pipe} {p.cents!r} {p.sigma_cents!r} {p.air_celsius!r}"
        for pipe, cents in visit.left.items():
            yield f"left {pipe} {cents!r}"


def _read(place: Path) -> Learned | None:
    """The content of a file, or None if it is missing or damaged."""
    try:
        kept = _Kept.model_validate_json(place.read_bytes())
        if not all(set(part) == set(DriftKind) for part in (kept.habits, kept.recalibration)):
            return None
    except (OSError, ValidationError):
        return None
    return Learned(
        MappingProxyType({k: Habits(**h.model_dump()) for k, h in kept.habits.items()}),
        CommonHabits(**kept.common.model_dump()),
        MappingProxyType(
            {k: Recalibration(**r.model_dump()) for k, r in kept.recalibration.items()}
        ),
        MappingProxyType({k: kept.readings.get(k, 0) for k in DriftKind}),
    )


def _keep(place: Path, learned: Learned) -> None:
    """Write the file completely or not at all; ignore a folder that cannot be written."""

    def plain(part: Mapping[DriftKind, Habits] | Mapping[DriftKind, Recalibration]) -> object:
        return {kind.value: asdict(one) for kind, one in part.items()}

    content = {
        "format": 1,
        "habits": plain(learned.habits),
        "common": asdict(learned.common),
        "recalibration": plain(learned.recalibration),
        "readings": {kind.value: count for kind, count in learned.readings.items()},
    }
    with contextlib.suppress(OSError, InputError):
        place.parent.mkdir(exist_ok=True)
        write_file(json.dumps(content, indent=1).encode(), place, what="learned drift")
        files = sorted(place.parent.glob("drift-*.json"), key=lambda f: f.stat().st_mtime)
        for old in files[:-MOST_KEPT]:
            old.unlink()
