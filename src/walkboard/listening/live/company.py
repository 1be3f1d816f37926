"""What sounds besides the pipe, judged partial by partial from a steady look's envelopes.

All partials of a single pipe move together: each has the same deviation in cents, and none swells
by itself. Where another pipe's partials fall on some of them, those deviate or beat. So the
question is which of them agree. If all do, the pipe is alone. If only those agree that are not
multiples of 2 (or 3, or 4), another pipe's partials fall on the multiples, as an octave's would (a
twelfth's, a double octave's), and the rest give the pipe's own pitch. If most of many agree and a
few do not, the majority gives a pitch, with a caution. Otherwise another pipe covers all of them,
as a unison or a lower octave does, and the pipe has no value. Even where they agree, a
one-sided line beside them may show a second pipe (`live.second_line`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.spectrum import Envelopes
from walkboard.listening.live.second_line import has_second_line
from walkboard.quantities import CENTS_PER_NEPER

Floats = NDArray[np.float64]
_MAD = 1.4826  # median absolute deviation to standard deviation of a normal law; derived


@dataclass(frozen=True, slots=True)
class Limits:
    """When partials count as disagreeing. Fitted by ``bench mishaps``, except where marked.

    Attributes
    ----------
    shortest_s : float
        A shorter window is not judged [s].
    present : float
        Power over noise of a partial that is judged [-].
    range_db : float
        Partials are judged down to this far below the strongest [dB].
    room_cycles : float
        How far a filling room may turn a partial within a window [cycles].
    apart_cents : float
        Deviation from the others that is always accepted [cents].
    room_times : float
        How many times the room's share is accepted [-].
    swell, faint_swell : float
        Accepted standard deviation of a partial's log amplitude with the common part removed
        [neper]: for one within `faint_db` of the strongest, and for a fainter one.
    faint_db : float
    swell_per_khz, most_swell : float
        What a pipe's own wander adds to the swell through the room, per kHz of the partial's
        frequency [neper/kHz], and its maximum [neper].
    filling, fills_s : float
        What a filling room adds at the onset [neper], and how fast that decays [s].
    multiples : tuple of int
        Which multiples may belong to another pipe (chosen: octave, twelfth, double octave).
    odd_one : int
        From this partial number on, a single faint partial among five or more may disagree: the
        room can put one into a fade.
    many : int
        This many agreeing partials are a pipe, whatever a few others show (chosen).
    """

    shortest_s: float = 0.3
    present: float = 40.0
    range_db: float = 36.0
    room_cycles: float = 0.05
    apart_cents: float = 0.25
    room_times: float = 3.0
    swell: float = 0.1
    faint_swell: float = 0.3
    faint_db: float = 12.0
    swell_per_khz: float = 0.14
    most_swell: float = 0.45
    filling: float = 1.0
    fills_s: float = 0.25
    multiples: tuple[int, ...] = (2, 3, 4)
    odd_one: int = 4
    many: int = 6


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Company:
    """What the partials show.

    Attributes
    ----------
    is_alone : bool
        Whether all partials agree.
    multiple : int or None
        Multiples of this partial belong to another pipe; the others are the pipe's own.
    others_cents : float or None
        How far those are from the pipe's own, + is sharp [cents].
    strange : tuple of int
        Single partials that are not the pipe's, if most of many agree.
    asked : int
        Number of partials judged.
    """

    is_alone: bool
    multiple: int | None = None
    others_cents: float | None = None
    strange: tuple[int, ...] = ()
    asked: int = 0

    @property
    def is_hidden(self) -> bool:
        """Whether another pipe covers all partials, so that the pipe has no value."""
        return not self.is_alone and self.multiple is None and not self.strange

    def own(self, numbers: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which of these partials are the pipe's own, as far as known."""
        kept = np.ones(len(numbers), dtype=bool)
        if self.multiple is not None:
            kept &= numbers % self.multiple != 0
        return kept & ~np.isin(numbers, self.strange)


@dataclass(frozen=True, slots=True)
class _Asked:
    number: NDArray[np.int64]
    cents: Floats
    room_cents: Floats
    swells: NDArray[np.bool_]
    power: Floats


def company_of(env: Envelopes, filled_s: float = np.inf, limits: Limits = LIMITS) -> Company | None:
    """Judge what else sounds.

    Parameters
    ----------
    env : Envelopes
        Around the pipe's pitch, within a few cents; the first channel is judged.
    filled_s : float
        How long the room had filled when the window began [s].
    limits : Limits

    Returns
    -------
    Company or None
        None where the window is too short or no partial is strong enough.
    """
    seconds = env.values.shape[2] * env.spacing_s
    if seconds < limits.shortest_s:
        return None
    asked = _ask(env, seconds, filled_s, limits)
    if len(asked.number) == 0:
        return None
    every = np.ones(len(asked.number), dtype=bool)
    count = len(asked.number)
    if has_second_line(env):
        return Company(is_alone=False, asked=count)
    if _agree(asked, every, limits):
        return Company(is_alone=True, asked=count)
    strongest = float(asked.power.max())
    for multiple in limits.multiples:
        own = asked.number % multiple != 0
        # The fundamental is no multiple: it must be present and clear enough.
        carries = own.any() and float(asked.power[own].max()) > strongest * 10.0**-2.6
        if own.all() or not carries or asked.number[own].min() > multiple:
            continue
        if _agree(asked, own, limits):
            centre = _centre(asked, own)
            away = float(_centre(asked, ~own)) - centre
            return Company(False, multiple, away, asked=count)
    most = _most(asked, limits)
    strange = () if most is None else tuple(int(n) for n in asked.number[~most])
    return Company(False, strange=strange, asked=count)


def _most(asked: _Asked, limits: Limits) -> NDArray[np.bool_] | None:
    """The partials that agree, if they are many, even and odd, and hold most of the sound."""
    some = ~asked.swells
    if not some.any():
        return None
    away = np.abs(asked.cents - _centre(asked, some))
    some &= away < limits.apart_cents + limits.room_times * asked.room_cents
    odd = asked.number[some] % 2 == 1
    holds = float(asked.power[some].sum()) > 0.5 * float(asked.power.sum())
    if np.count_nonzero(some) < limits.many or not holds or odd.all() or not odd.any():
        return None
    return np.asarray(some)


def _ask(env: Envelopes, seconds: float, filled_s: float, limits: Limits) -> _Asked:
    values, power, noise = env.values[0], env.power[0], env.noise[0]
    kept = (power > limits.present * noise) & (
        power > power.max() * 10.0 ** (-0.1 * limits.range_db)
    )
    values, power, noise, number = values[kept], power[kept], noise[kept], env.numbers[kept]
    size = np.log(np.maximum(np.abs(values), 1e-12))
    size -= size.mean(axis=1, keepdims=True)
    if len(number) > 1:
        # What all share comes from wind, microphone gain or the tuner's hand: not another pipe.
        size = size - np.median(size, axis=0)
    # Median: a brief knock is no pipe.
    usual = _MAD * np.median(np.abs(size - np.median(size, axis=1, keepdims=True)), axis=1)
    swell = np.sqrt(np.maximum(usual**2 - noise / (2.0 * power), 0.0))
    loud = power > (power.max() if len(power) else 0.0) * 10.0 ** (-0.1 * limits.faint_db)
    through_room = np.minimum(1e-3 * limits.swell_per_khz * number * env.hz, limits.most_swell)
    filling = float(np.exp(-max(0.0, filled_s) / limits.fills_s))
    allowed = np.hypot(np.where(loud, limits.swell, limits.faint_swell), through_room)
    swells = swell > allowed + limits.filling * filling
    times = (np.arange(values.shape[1]) + 0.5) * env.spacing_s
    weight = np.abs(values) ** 2
    weight /= np.maximum(weight.sum(axis=1, keepdims=True), 1e-30)
    phase = np.unwrap(np.angle(values), axis=1)
    centred = times - (weight @ times)[:, np.newaxis]
    turn = (weight * centred * phase).sum(axis=1) / (weight * centred**2).sum(axis=1)
    scale = CENTS_PER_NEPER / (number * env.hz)
    cents = scale * turn / (2.0 * np.pi)
    room = scale * limits.room_cycles * (1.0 + 2.0 * filling) / seconds
    noisy = scale * np.sqrt(6.0 * noise / power / values.shape[1]) / (np.pi * seconds)
    return _Asked(number, cents, np.hypot(room, noisy), swells, power)


def _centre(asked: _Asked, some: NDArray[np.bool_]) -> float:
    """Weighted median of their places: an outlier hardly moves it."""
    cents, weight = asked.cents[some], 1.0 / asked.room_cents[some] ** 2
    order = np.argsort(cents)
    total = np.cumsum(weight[order])
    return float(cents[order[int(np.searchsorted(total, 0.5 * total[-1]))]])


def _agree(asked: _Asked, some: NDArray[np.bool_], limits: Limits) -> bool:
    away = np.abs(asked.cents[some] - _centre(asked, some))
    near = away < limits.apart_cents + limits.room_times * asked.room_cents[some]
    odd = np.flatnonzero(asked.swells[some] | ~near)
    if len(odd) == 1 and len(near) >= 5 and asked.number[some][odd[0]] >= limits.odd_one:
        return bool(asked.power[some][odd[0]] < 0.1 * asked.power[some].sum())
    return len(odd) == 0
