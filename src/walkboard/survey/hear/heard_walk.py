"""A walk as heard on a known organ: the values that ``walkboard listen`` gives."""

from __future__ import annotations

from dataclasses import dataclass

from walkboard.listening.types import HoldFlag, Partial, ReadingFlag, SoundInfo
from walkboard.organ.model import PipeRef
from walkboard.scales.keys import Key
from walkboard.survey.recognise.verdict import Heard


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
    near_hz, bound_cents : float or None
        For a merged reading: this pipe and the other are both within the bound of this frequency.
    either_hz, either_sigma_cents : (float, float) or None
        For a merged reading whose two pipes were separated but not named: where one stands that is
        the likelier, then the other.
    name_sureness : float or None
        For one of two near unisons: probability that it is named right; None where it sounded
        without a neighbour.
    beat_hz : float or None
        For one of two near unisons: beats a second of the fundamentals, heard in the envelopes.
    partials : tuple of Partial
        Levels of the partials heard, the lowest sixteen at most.
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
    near_hz: float | None = None
    bound_cents: float | None = None
    either_hz: tuple[float, float] | None = None
    either_sigma_cents: tuple[float, float] | None = None
    name_sureness: float | None = None
    beat_hz: float | None = None
    partials: tuple[Partial, ...] = ()


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
        Held, and nothing sounded.
    warnings : tuple of str
        Whole sentences for the tuner, as "The recording is quiet …".
    heard : Heard or None
        What sounded, and whether the values are believed; None for walks of older versions and
        for readings that were taken another way.
    not_held, unsure_keys : tuple of Key
        Keys within the walk that were not held, and those of which that cannot be decided.
    """

    file: str
    sound: SoundInfo
    organ: str
    drawn: tuple[str, ...]
    air_celsius: float | None
    holds: tuple[Hold, ...]
    silent_keys: tuple[Key, ...]
    warnings: tuple[str, ...] = ()
    heard: Heard | None = None
    not_held: tuple[Key, ...] = ()
    unsure_keys: tuple[Key, ...] = ()

    @property
    def believed(self) -> bool:
        """Whether its values may be used."""
        return self.heard is None or self.heard.believed
