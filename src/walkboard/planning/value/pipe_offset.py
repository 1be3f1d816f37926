"""One known pipe with its present cost, for words and for the order of work."""

from __future__ import annotations

from dataclasses import dataclass

from walkboard.condition.kinds import Role
from walkboard.organ.model import PipeRef, Rank, TunedBy
from walkboard.planning.value.belief import Belief
from walkboard.planning.value.cost import chance_stray, heard_badness
from walkboard.planning.value.risk import Risk, risk_of
from walkboard.planning.value.weight import Weight
from walkboard.quantities import CENTS_PER_NEPER


@dataclass(frozen=True, slots=True)
class PipeOffset:
    """One pipe that was heard, or is forecast.

    Attributes
    ----------
    pipe : PipeRef
    rank : Rank
    role : Role
    target_hz : float
        Where to leave it today, if the organ keeps its present pitch.
    beat_hz : float
        Pitch of the partial at which its beats are heard.
    belief : Belief
        Where it sounds against its target [cents].
    cents_from_flues : float
        Its deviation from its division's flues today; differs from `cents` for reeds when
        the event's air is not today's.
    weight : Weight
    left_cents : float
        How far off it may be after tuning, one standard deviation.
    minutes : float
    tunable : bool
        False for historic ranks.
    is_heard : bool
        False where it is only forecast.
    beside_partner : bool
        It is a celeste whose partner is not moved: it is tuned to that, whatever the reference.
    pulled_by : PipeRef or None
        The pipe that draws it when both sound.
    drawn_cents : float
        How far that draws it, which is in `belief` [cents].
    """

    pipe: PipeRef
    rank: Rank
    role: Role
    target_hz: float
    beat_hz: float
    belief: Belief
    cents_from_flues: float
    weight: Weight
    left_cents: float
    minutes: float
    tunable: bool
    is_heard: bool = True
    beside_partner: bool = False
    pulled_by: PipeRef | None = None
    drawn_cents: float = 0.0

    @property
    def cents(self) -> float:
        """Where it is against its target when it sounds alone, in the mean [cents]."""
        return self.belief.mean_cents - self.drawn_cents

    @property
    def sigma_cents(self) -> float:
        """One standard deviation of that."""
        return self.belief.sigma_cents

    @property
    def risk(self) -> Risk:
        """Of tuning it, at the organ's present pitch."""
        return risk_of(self.tuned_by, self.cents)

    @property
    def tuned_by(self) -> TunedBy:
        """What is moved to tune it."""
        return self.rank.tuned_by_of(self.pipe.number)

    def reference_of(self, reference_cents: float) -> float:
        """The part of the organ's reference that applies to it [cents]."""
        return 0.0 if self.beside_partner else reference_cents

    def badness_at(self, reference_cents: float) -> float:
        """Mean cost if it is not moved and the organ is tuned to a reference."""
        return self.weight.whole * self.beating_at(
            reference_cents
        ) + self.weight.stray * self.chance_stray_at(reference_cents)

    def beating_at(self, reference_cents: float) -> float:
        """Mean badness of its beats if it is not moved, before weighing, 0 to 1."""
        parts = zip(self.belief.shares, self.belief.cents, self.belief.sigmas_cents, strict=True)
        at = self.reference_of(reference_cents)
        return sum(w * float(heard_badness(m - at, s, self.beat_hz)) for w, m, s in parts)

    def chance_stray_at(self, reference_cents: float) -> float:
        """Chance that it sticks out if it is not moved."""
        parts = zip(self.belief.shares, self.belief.cents, self.belief.sigmas_cents, strict=True)
        at = self.reference_of(reference_cents)
        return sum(w * float(chance_stray(m - at, s)) for w, m, s in parts)

    @property
    def badness_left(self) -> float:
        """Mean cost after tuning, the chance that it goes wrong counted."""
        left = float(heard_badness(0.0, self.left_cents, self.beat_hz))
        chance = self.risk.chance
        return self.weight.whole * (left + chance * (1.0 - left)) + self.weight.stray * chance


def beats_a_second(offset: PipeOffset, off_cents: float) -> float:
    """How fast it beats, so far off, at the partial at which that is heard [Hz]."""
    return abs(off_cents) * offset.beat_hz / CENTS_PER_NEPER
