"""Whether a pipe's value from the joint estimate is accepted: one ordered list of rules.

Each rule measures one property of the pipe and has a limit. The first rule whose measure is over
its limit withholds the value and sets the flag. Every rule is here because a scene in
`tests/listening/joint/test_accept.py` is wrong without it and no other rule catches it. The last
rule needs the other pipes' readings, so it is applied once those are known.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

import numpy as np

from walkboard.listening.hold.spectrum import HoldSpectrum
from walkboard.listening.joint.stages import Joint, unison_sets
from walkboard.listening.readings import CombReading, Measured
from walkboard.listening.types import ReadingFlag
from walkboard.quantities import CENTS_PER_NEPER, cents_of_ratio


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of the rules and of the widening of sigma. *Fitted*: by bench registrations."""

    misfit: float = 30.0  # factor on the room in the pipe's own groups [-]; fitted
    misfit_times: float = 5.0  # that over the same in shared groups [-]; fitted
    standing_out: float = 300.0  # power over variance of the clearest partial [-]; fitted
    present: float = 30.0  # the same of a partial that counts as heard [-]; chosen
    given_cents: float = 0.6  # final sigma, beyond which it is no use to a tuner; chosen
    soft_db: float = 30.0  # loudest partial below its group: a blower's line; fitted
    range_db: float = 35.0  # a pipe's partials count down to this below its loudest; chosen
    unisons: float = 2.0  # pipes that can be separated within one unison; derived: of the model
    overtones: float = 1.0  # step of the heard partials' numbers [-]; derived: a pipe has the first
    calm_cents: float = 0.15  # wander up to which sigma is kept; fitted
    calm_power: float = 1.5  # exponent of its growth beyond [-]; fitted
    easy_room: float = 10.0  # factor on the room up to which sigma is kept [-]; fitted
    plain: float = 4_000.0  # power over variance from which sigma is kept [-]; fitted


LIMITS = Limits()


@dataclass(frozen=True)
class Case:
    """One pipe of a joint estimate, and what the rules measure on it, each only once.

    Attributes
    ----------
    spectrum : HoldSpectrum
    joint : Joint
    pipe : int
    seconds : float
        Length of the window.
    readings : tuple of CombReading
        Of all pipes of the hold, once they are known; empty before.
    """

    spectrum: HoldSpectrum
    joint: Joint
    pipe: int
    seconds: float
    readings: tuple[CombReading, ...] = ()

    @cached_property
    def own(self) -> bool:
        """Whether the pipe has a group of partials to itself."""
        alone = (self.joint.bands.numbers > 0).sum(axis=1) == 1
        return bool((alone & (self.joint.bands.numbers[:, self.pipe] > 0)).any())

    @cached_property
    def standing_out(self) -> float:
        """Power over variance of the clearest partial, given what its neighbours may do [-]."""
        seen = self.joint.courses.seen[:, self.pipe]
        return float(self.joint.courses.ratio[seen, self.pipe].max(initial=0.0))

    @cached_property
    def heard_db(self) -> Mapping[int, float]:
        """Levels of the partials heard, by number [dB]; see `heard_partials`."""
        return MappingProxyType(heard_partials(self))

    @cached_property
    def step(self) -> float:
        """Step of its partials' numbers; see `overtone_step`."""
        return overtone_step(self)

    @property
    def sigma_cents(self) -> float:
        """Standard deviation from the estimate."""
        hz, sigma_hz = self.joint.courses.heard(self.pipe, self.seconds)
        return CENTS_PER_NEPER * sigma_hz / hz

    @property
    def widened_cents(self) -> float:
        """Sigma, wider if the model fits badly or the pipe hardly stands out."""
        room = max(1.0, self.joint.room(self.pipe) / LIMITS.easy_room)
        doubt = max(1.0, LIMITS.plain / max(self.standing_out, 1.0))
        return self.sigma_cents * float(np.sqrt(room * doubt))

    @property
    def given_cents(self) -> float:
        """Final sigma: also wider for a pipe that wanders far, whose phase may be lost."""
        wander = float(self.joint.courses.wander_cents[self.pipe])
        return float(self.widened_cents * max(1.0, wander / LIMITS.calm_cents) ** LIMITS.calm_power)


def heard_partials(case: Case) -> dict[int, float]:
    """Levels [dB] of a pipe's partials that stand out, by number, in the loudest channel.

    At most the level of its whole group: two that nearly coincide may be fitted far louder,
    cancelling each other.
    """
    sizes: dict[int, np.ndarray] = {}
    courses, bands = case.joint.courses, case.joint.bands
    for index in courses.seen_in(case.pipe):
        if (courses.ratio[index, case.pipe] > LIMITS.present).any():
            values = case.spectrum.rotation @ bands.bands[index].values
            whole = np.sqrt((np.abs(values) ** 2).mean(axis=1))
            own = np.abs(case.spectrum.rotation @ courses.amplitude[index, case.pipe])
            sizes[int(bands.numbers[index, case.pipe])] = np.minimum(own, whole)
    if not sizes:
        return {}
    loudest = int(np.argmax(sum(size**2 for size in sizes.values())))
    return {n: float(20.0 * np.log10(size[loudest] + 1e-15)) for n, size in sorted(sizes.items())}


def unisons(case: Case) -> float:
    """Number of pipes expected in near unison with this one, itself included."""
    sets = unison_sets(list(case.joint.courses.reference_hz))
    return float(next(len(held) for held in sets if case.pipe in held))


def overtone_step(case: Case) -> float:
    """Step of its partials' numbers: 2 if only every second is heard, 0 if none is.

    In a near unison it is 1: which of the two is dead cannot be decided.
    """
    if unisons(case) > 1.0:
        return 1.0
    levels = dict(case.heard_db)
    for band in case.joint.bands.bands:
        # The sound in a group of its own belongs to the pipe, whether or not it was used.
        if band.group.pipes == {case.pipe}:
            power = np.abs(case.spectrum.rotation @ band.values).max(axis=0) ** 2
            levels.setdefault(band.members[0].number, 10.0 * float(np.log10(power.mean() + 1e-30)))
    if not levels:
        return 0.0
    faintest = max(levels.values()) - LIMITS.range_db
    return float(np.gcd.reduce([number for number, level in levels.items() if level > faintest]))


def lost_neighbours(case: Case) -> float:
    """1 if every group that the value rests on may hold a pipe that was not located, else 0."""
    if not case.readings:
        return 0.0
    own, due = case.readings[case.pipe], case.joint.courses.reference_hz
    if not isinstance(own, Measured):
        return 0.0
    away_cents = cents_of_ratio(own.hz / due[case.pipe])
    rivals = set()
    for pipe, reading in enumerate(case.readings):
        bound = reading.bound_or_none
        is_separated = bound is not None and bound.either is not None
        if ReadingFlag.MERGED not in reading.flags or is_separated:
            continue
        if bound is not None:
            apart = abs(away_cents - cents_of_ratio(bound.near_hz / due[pipe]))
            if apart >= bound.bound_cents:
                continue
        rivals.add(pipe)
    courses = case.joint.courses
    rests_on = [
        case.joint.bands.bands[index].group.pipes
        for index in courses.seen_in(case.pipe)
        if courses.ratio[index, case.pipe].max() > LIMITS.standing_out
    ]
    return float(all(pipes & rivals for pipes in rests_on))


def softness_db(case: Case) -> float:
    """How far the clearest partial is below its group, at least [dB]."""
    courses, bands = case.joint.courses, case.joint.bands
    least = np.inf
    for index in courses.seen_in(case.pipe):
        if courses.ratio[index, case.pipe].max() > LIMITS.present:
            power = float((np.abs(courses.amplitude[index, case.pipe]) ** 2).sum())
            whole = float((np.abs(bands.bands[index].values) ** 2).mean(axis=1).sum())
            least = min(least, 10.0 * float(np.log10(whole / max(power, 1e-300))))
    return least if np.isfinite(least) else 0.0


def misplaced(case: Case) -> float:
    """1 if the pipe's own groups fit far worse than those it shares, else 0."""
    own, shared = case.joint.rooms(case.pipe)
    if len(own) < 2 or not shared:
        return 0.0
    alone = float(np.median(own))
    least = LIMITS.misfit_times * max(1.0, float(np.median(shared)))
    return float(alone > LIMITS.misfit and alone > least)


def faintness(case: Case) -> float:
    """The limit over the power over variance of the clearest partial [-]."""
    return LIMITS.standing_out / max(case.standing_out, 1e-9)


def overtones(case: Case) -> float:
    """Step of its partials' numbers, measured once."""
    return case.step


def given_cents(case: Case) -> float:
    """Final sigma [cents]."""
    return case.given_cents


@dataclass(frozen=True, slots=True)
class Rule:
    """A measure, its limit, and the flag for a pipe that exceeds it.

    Attributes
    ----------
    name, reason : str
    measure : callable
    limit : float
    unit : str
    flag, flag_own : ReadingFlag
        For a pipe without and with a group of partials of its own.
    """

    name: str
    measure: Callable[[Case], float]
    limit: float
    unit: str
    flag: ReadingFlag
    flag_own: ReadingFlag
    reason: str

    def refuses(self, case: Case) -> bool:
        """Whether the pipe is over the limit."""
        return self.measure(case) > self.limit

    def flag_of(self, case: Case) -> ReadingFlag:
        """The flag that gives the reason."""
        return self.flag_own if case.own else self.flag


_M = ReadingFlag.MERGED
OVERTONES = Rule(
    "overtones only",
    overtones,
    LIMITS.overtones,
    "partials",
    _M,
    ReadingFlag.SILENT,
    "only every second or third partial is heard, and these may be another pipe's",
)
LOST = Rule(
    "lost neighbour",
    lost_neighbours,
    0.5,
    "-",
    _M,
    _M,
    "its line may belong to a pipe that was not located",
)
RULES: tuple[Rule, ...] = (
    Rule(
        "crowded unison",
        unisons,
        LIMITS.unisons,
        "pipes",
        _M,
        _M,
        "three or more pipes in one unison cannot be separated",
    ),
    OVERTONES,
    Rule("misplaced", misplaced, 0.5, "-", _M, _M, "it follows another pipe's partials"),
    Rule(
        "faint place",
        faintness,
        1.0,
        "-",
        _M,
        ReadingFlag.SILENT,
        "no partial stands out from what its neighbours may do",
    ),
    Rule("soft line", softness_db, LIMITS.soft_db, "dB", _M, _M, "a sideband or the blower's hum"),
    Rule(
        "wide",
        given_cents,
        LIMITS.given_cents,
        "cents",
        _M,
        ReadingFlag.FAINT,
        "sigma is too wide to be useful",
    ),
    LOST,
)


def refused_by(case: Case) -> Rule | None:
    """The first rule that withholds a pipe's value; None if all accept it."""
    return next((rule for rule in RULES if rule.refuses(case)), None)
