"""Whether a pipe's value from the joint estimate is believed: one ordered list of rules.

Each rule measures one thing on the pipe and has a limit. The first rule whose measure is over its
limit withholds the value and sets the flag. Every rule is here because a scene in
`tests/listening/joint/test_accept.py` is wrong without it and no other rule catches it. The last
rule looks at the other pipes' readings, so it is asked once those are known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from walkboard.listening.hold.spectrum import HoldSpectrum
from walkboard.listening.joint.stages import Joint, unison_sets
from walkboard.listening.readings import CombReading, Measured
from walkboard.listening.types import ReadingFlag
from walkboard.quantities import CENTS_PER_NEPER, cents_of_ratio


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of the rules and of what widens sigma. *Fitted*: by bench registrations."""

    misfit: float = 30.0  # factor on the room in the pipe's own groups [-]; fitted
    misfit_times: float = 5.0  # that over the same in shared groups [-]; fitted
    standing_out: float = 300.0  # power over variance of the plainest partial [-]; fitted
    present: float = 30.0  # the same of a partial that counts as heard [-]; chosen
    given_cents: float = 0.6  # sigma as given, beyond which it serves no tuner; chosen
    soft_db: float = 30.0  # of the loudest partial under its group: a blower's line; fitted
    range_db: float = 35.0  # under a pipe's loudest partial, in which its own must be; chosen
    unisons: float = 2.0  # pipes that can be separated within one unison; derived: of the model
    overtones: float = 1.0  # step of the heard partials' numbers [-]; derived: a pipe has the first
    calm_cents: float = 0.15  # wander up to which sigma stands; fitted
    calm_power: float = 1.5  # with which it grows beyond [-]; fitted
    easy_room: float = 10.0  # factor on the room up to which sigma stands [-]; fitted
    plain: float = 4_000.0  # power over variance from which sigma stands [-]; fitted


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Case:
    """One pipe of a joint estimate, with what the rules measure on it.

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

    @property
    def own(self) -> bool:
        """Whether the pipe has a group of partials to itself."""
        alone = (self.joint.bands.numbers > 0).sum(axis=1) == 1
        return bool((alone & (self.joint.bands.numbers[:, self.pipe] > 0)).any())

    @property
    def standing_out(self) -> float:
        """Power over variance of the plainest partial, given what its neighbours may do [-]."""
        seen = self.joint.courses.seen[:, self.pipe]
        return float(self.joint.courses.ratio[seen, self.pipe].max(initial=0.0))

    @property
    def sigma_cents(self) -> float:
        """Standard deviation that the estimate gives."""
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
        """Sigma as it is given: wider also for a pipe that wanders far, whose phase may be lost."""
        wander = float(self.joint.courses.wander_cents[self.pipe])
        return float(self.widened_cents * max(1.0, wander / LIMITS.calm_cents) ** LIMITS.calm_power)


def heard_partials(case: Case) -> dict[int, float]:
    """Levels [dB] of a pipe's partials that stand out, by number, in the loudest channel.

    At most what its whole group sounds: two that are hardly apart may be fitted by far more, the
    one against the other.
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
    """Pipes due in one near unison with this, itself counted."""
    sets = unison_sets(list(case.joint.courses.reference_hz))
    return float(next(len(held) for held in sets if case.pipe in held))


def overtone_step(case: Case) -> float:
    """Step of the numbers of its partials: 2 where only every second is heard, 0 where none is.

    In a near unison it is 1: which of the two is dead cannot be said.
    """
    if unisons(case) > 1.0:
        return 1.0
    levels = heard_partials(case)
    for band in case.joint.bands.bands:
        # What a group to itself sounds is the pipe's, whether or not it was used.
        if band.group.pipes == {case.pipe}:
            power = np.abs(case.spectrum.rotation @ band.values).max(axis=0) ** 2
            levels.setdefault(band.members[0].number, 10.0 * float(np.log10(power.mean() + 1e-30)))
    if not levels:
        return 0.0
    faintest = max(levels.values()) - LIMITS.range_db
    return float(np.gcd.reduce([number for number, level in levels.items() if level > faintest]))


def lost_neighbours(case: Case) -> float:
    """1 if each group that the value rests on has a pipe that found no place and may be there."""
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
    """How far the partial that stands out best is under its group [dB], at least."""
    courses, bands = case.joint.courses, case.joint.bands
    least = np.inf
    for index in courses.seen_in(case.pipe):
        if courses.ratio[index, case.pipe].max() > LIMITS.present:
            power = float((np.abs(courses.amplitude[index, case.pipe]) ** 2).sum())
            whole = float((np.abs(bands.bands[index].values) ** 2).mean(axis=1).sum())
            least = min(least, 10.0 * float(np.log10(whole / max(power, 1e-300))))
    return least if np.isfinite(least) else 0.0


def misplaced(case: Case) -> float:
    """1 if what the pipe has to itself fits far worse than what it shares, else 0."""
    own, shared = case.joint.rooms(case.pipe)
    if len(own) < 2 or not shared:
        return 0.0
    alone = float(np.median(own))
    least = LIMITS.misfit_times * max(1.0, float(np.median(shared)))
    return float(alone > LIMITS.misfit and alone > least)


def faintness(case: Case) -> float:
    """How often the limit is above the power over variance of the plainest partial [-]."""
    return LIMITS.standing_out / max(case.standing_out, 1e-9)


def given_cents(case: Case) -> float:
    """Sigma as it would be given [cents]."""
    return case.given_cents


@dataclass(frozen=True, slots=True)
class Rule:
    """A measure, its limit, and the flag of a pipe that exceeds it.

    Attributes
    ----------
    name, reason : str
    measure : callable
    limit : float
    unit : str
    flag, flag_own : ReadingFlag
        Without and with a group of partials that no other pipe has.
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
        """The flag that says why."""
        return self.flag_own if case.own else self.flag


_M = ReadingFlag.MERGED
OVERTONES = Rule(
    "overtones only",
    overtone_step,
    LIMITS.overtones,
    "partials",
    _M,
    ReadingFlag.SILENT,
    "only every second or third partial is heard, and those may be another pipe's",
)
LOST = Rule(
    "lost neighbour",
    lost_neighbours,
    0.5,
    "-",
    _M,
    _M,
    "its line may be that of a pipe that found no place",
)
RULES: tuple[Rule, ...] = (
    Rule(
        "crowded unison",
        unisons,
        LIMITS.unisons,
        "pipes",
        _M,
        _M,
        "of three or more in one unison none can be named",
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
        "no partial stands out of what its neighbours may do",
    ),
    Rule("soft line", softness_db, LIMITS.soft_db, "dB", _M, _M, "a sideband or the blower's hum"),
    Rule(
        "wide",
        given_cents,
        LIMITS.given_cents,
        "cents",
        _M,
        ReadingFlag.FAINT,
        "sigma is too wide to be of use",
    ),
    LOST,
)


def refused_by(case: Case) -> Rule | None:
    """The first rule that withholds a pipe's value, None if all accept it."""
    return next((rule for rule in RULES if rule.refuses(case)), None)
