"""A walk as heard on a known organ: the values that ``walkboard listen`` gives."""

from __future__ import annotations

from dataclasses import dataclass

from walkboard.listening.heard import HoldFlag, ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key


@dataclass(frozen=True, slots=True)
class Reading:
    """One pipe measured in one hold.

    Attributes
    ----------
    pipe : PipeRef
    hz, sigma_cents, cents, level_db : float or None
        ``cents`` is against the pipe's target at the walk's air (or, where that is None, at the
        organ's own pitch temperature); all None where the pipe cannot be measured honestly.
    start_s, end_s : float
        The measured window in the recording.
    wander_cents : float or None
    flags : tuple of ReadingFlag
    """

    pipe: PipeRef
    hz: float | None
    sigma_cents: float | None
    cents: float | None
    level_db: float | None
    start_s: float
    end_s: float
    wander_cents: float | None = None
    flags: tuple[ReadingFlag, ...] = ()


@dataclass(frozen=True, slots=True)
class Hold:
    """One held key of the walk, numbered from 1 in time."""

    n: int
    key: Key | None
    key_number: int | None
    start_s: float
    end_s: float
    readings: tuple[Reading, ...]
    sureness: float = 1.0
    flags: tuple[HoldFlag, ...] = ()


@dataclass(frozen=True, slots=True)
class HeardWalk:
    """Everything heard in one recording.

    Attributes
    ----------
    file : str
        The recording's name.
    sound : SoundInfo
    organ : str
        The organ's name.
    drawn : tuple of str
        The stops drawn.
    air_celsius : float or None
    holds : tuple of Hold
    silent_keys : tuple of Key
        Passed over between the lowest and the highest key heard.
    warnings : tuple of str
        Whole sentences for the tuner, as "this sounds like Octave 4 …".
    """

    file: str
    sound: SoundInfo
    organ: str
    drawn: tuple[str, ...]
    air_celsius: float | None
    holds: tuple[Hold, ...]
    silent_keys: tuple[Key, ...]
    warnings: tuple[str, ...] = ()
