"""A quick look at a short stretch: where the comb is, in about a millisecond.

For each partial l the stretch x is weighted by a raised cosine w and turned back by l times the
current frequency: c = Σ w x e^{−ilωt} and d = Σ w t x e^{−ilωt}. For a steady tone Im(d/c) is the
error in frequency times Σ w t² / Σ w, one Gauss–Newton step of the harmonic least squares estimate
(the amplitudes drop out). The raised cosine separates partials from six periods on; it makes σ half
as large again as the bound. Steps go from low partials to high, so no turn is lost.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.place import find_place, numbers_below
from walkboard.listening.hold.spectrum import spectrum_of_hold
from walkboard.listening.live.company import Company
from walkboard.quantities import CENTS_PER_NEPER

_MOST_PARTIALS = 14
_HIGHEST_HZ = 6_000.0
_PRESENT = 14.0  # power over noise
_FLOOR = 10.0**-3.3  # share of a partial's own power that the room disturbs
_WHOLE_DB = 32.0
_ROOM_HZ = 0.5  # a filling room's effect on a partial, over the root of Σ l²: measured on notes
_SPREAD_CENTS, _SPREAD_ROOMS = 0.5, 5.0  # python -m bench mishaps: partials of one pipe
_LEAST_EXPLAINED = 0.3  # share of the power; below, something else is louder
_REACH = 0.4  # turns at the highest partial used, over the window


@dataclass(frozen=True, slots=True)
class Quick:
    """What a quick look saw.

    Attributes
    ----------
    hz, sigma_cents : float
    heard : bool
        Whether any partial stands out from the noise.
    explained : float
        Share of the stretch's power that the comb's partials hold, 0 to 1.
    every_nth : int or None
        2, 3 …: only every second, third … partial is heard, so another pipe or an overtone sounds.
    seconds : float
        Length of the stretch.
    room_cents : float
        Standard deviation due to a room still filling [cents]; not in `sigma_cents`.
    spread_cents : float
        How far its partials, taken singly, disagree [cents].
    own_db : float
        Level of its partials together; a full-scale sine is 0 dB.
    bright_db : float
        Mean square number of its partials, weighted by power [dB]; falls as the sound dulls.
    """

    hz: float
    sigma_cents: float
    heard: bool
    explained: float
    every_nth: int | None
    seconds: float
    room_cents: float
    spread_cents: float = 0.0
    own_db: float = -120.0
    bright_db: float = 0.0

    @property
    def agrees(self) -> bool:
        """Whether its partials are where those of one pipe would be, and explain the sound."""
        usual = _SPREAD_ROOMS * self.room_cents
        return self.spread_cents < usual + _SPREAD_CENTS and self.explained > _LEAST_EXPLAINED


def quick_look(
    samples: NDArray[np.float32],
    sample_rate: int,
    near_hz: float,
    *,
    wide: bool,
    company: Company | None = None,
) -> Quick | None:
    """Look for a comb in a short stretch.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Six periods of the pipe or more.
    near_hz : float
        Where the pipe was last heard [Hz].
    wide : bool
        Whether to search sixty cents around it first.
    company : Company, optional
        What else sounds: partials that are not the pipe's own are left out.

    Returns
    -------
    Quick or None
        None if the stretch gives no result.
    """
    count = len(samples)
    if count < 64 or float(np.abs(samples).max()) < 1e-6:
        return None
    hz = near_hz
    if wide:
        spectrum = spectrum_of_hold(samples[:, np.newaxis], sample_rate)
        tried = numbers_below(hz, sample_rate, _MOST_PARTIALS)
        if company is not None:
            tried = tried[company.own(tried)]
        place = find_place(spectrum, hz, tried)
        if not place.heard:
            return None
        hz = place.hz
    highest = min(_HIGHEST_HZ, 0.45 * sample_rate)
    partials = max(1, min(_MOST_PARTIALS, int(highest / hz)))
    times = (np.arange(count) - 0.5 * (count - 1)) / sample_rate
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * (np.arange(count) + 0.5) / count)
    window /= window.sum()
    spread = float(window @ times**2)
    weighed = window * samples
    seconds = count / sample_rate
    numbers = np.arange(1, partials + 1)
    own = np.ones(partials, dtype=bool) if company is None else company.own(numbers)
    reach = min(partials, 2)
    for _ in range(5):
        c, d, between = _sums(weighed, times, hz, partials)
        power = np.abs(c) ** 2
        noise = _noise(between, partials)
        offset, sigma = _step(c, d, noise, spread, own[:reach])
        if not np.isfinite(offset):
            return None
        hz *= 1.0 + float(np.clip(offset / (2.0 * np.pi * hz), -0.02, 0.02))
        if reach == partials and abs(offset) * partials * seconds < 0.05:
            break
        # Partials whose phase the last step made sure may join next.
        reach = min(partials, max(2 * reach, int(_REACH / (sigma * seconds + 1e-9))))
    there = power > _PRESENT * noise
    there &= power > power.max() * 10.0 ** (-_WHOLE_DB / 10.0)
    there &= own
    total = float(window @ samples.astype(np.float64) ** 2)
    numbers = np.flatnonzero(there) + 1
    step = int(np.gcd.reduce(numbers)) if len(numbers) else 1
    apart = _apart(c[there], d[there], numbers, spread)
    loud = float(power[there].sum())
    bright = float(power[there] @ numbers.astype(float) ** 2) / max(loud, 1e-30)
    return Quick(
        hz=hz,
        sigma_cents=CENTS_PER_NEPER * sigma / (2.0 * np.pi * hz),
        heard=bool(there.any()),
        explained=min(1.0, 2.0 * float(power[there].sum()) / max(total, 1e-30)),
        every_nth=step if step > 1 else None,
        seconds=seconds,
        room_cents=CENTS_PER_NEPER * _ROOM_HZ / hz / max(1.0, float(np.sqrt((numbers**2).sum()))),
        spread_cents=CENTS_PER_NEPER * apart / (2.0 * np.pi * hz),
        own_db=10.0 * float(np.log10(4.0 * loud + 1e-14)),
        bright_db=10.0 * float(np.log10(max(bright, 1.0))),
    )


def _apart(
    c: NDArray[np.complex128], d: NDArray[np.complex128], numbers: NDArray[np.int64], spread: float
) -> float:
    """How far partials disagree, taken singly [rad/s]; a room turns all by about as much."""
    if len(numbers) < 2:
        return 0.0
    own = (d * c.conj()).imag / np.maximum(np.abs(c) ** 2, 1e-30) / spread / numbers
    weight = numbers.astype(float) ** 2
    mean = float(np.average(own, weights=weight))
    return float(np.sqrt(np.average((own - mean) ** 2, weights=weight)))


def _sums(
    weighed: NDArray[np.float64], times: NDArray[np.float64], hz: float, partials: int
) -> tuple[NDArray[np.complex128], NDArray[np.complex128], NDArray[np.complex128]]:
    """The sums c and d of partials 1 …, and c halfway between them (from ½ to partials + ½)."""
    half = np.exp(-1j * np.pi * hz * times)
    turn = half * weighed
    powers = np.empty((2 * partials + 1, len(times)), dtype=np.complex128)
    powers[0] = turn
    for row in range(1, 2 * partials + 1):
        np.multiply(powers[row - 1], half, out=powers[row])
    c: NDArray[np.complex128] = powers.sum(axis=1)
    d: NDArray[np.complex128] = powers[1::2] @ times
    return c[1::2], d, c[0::2]


def _noise(between: NDArray[np.complex128], partials: int) -> NDArray[np.float64]:
    """Noise power at each partial: the mean halfway between partials, five wide."""
    power = np.abs(between) ** 2
    if partials == 1:
        return np.array([power.mean()])
    padded = np.pad(power, (1, 2), mode="edge")
    wide = np.lib.stride_tricks.sliding_window_view(padded, 4)[:partials]
    return np.asarray(np.median(wide, axis=1) / 0.8 + 1e-14)


def _step(
    c: NDArray[np.complex128],
    d: NDArray[np.complex128],
    noise: NDArray[np.float64],
    spread: float,
    own_partials: NDArray[np.bool_],
) -> tuple[float, float]:
    """Error of the fundamental [rad/s] and its standard deviation, from the lowest partials."""
    reach = len(own_partials)
    number = np.arange(1, reach + 1)
    power = np.abs(c[:reach]) ** 2
    own = (d[:reach] * c[:reach].conj()).imag / np.maximum(power, 1e-30) / spread / number
    # Under a raised cosine Σ w²t² / Σ w² is 0.61 of Σ wt² / Σ w; half of the noise turns the phase.
    variance = 0.306 * (noise[:reach] + _FLOOR * power) / np.maximum(power, 1e-30) / spread
    variance /= number**2
    sure = (power > 6.0 * noise[:reach]) & own_partials
    if not sure.any():
        sure[int(np.argmax(np.where(own_partials, power / noise[:reach], 0.0)))] = True
    weight = np.where(sure, 1.0 / variance, 0.0)
    weight = np.minimum(weight, 4.0 * float(np.median(weight[sure])))
    total = float(weight.sum())
    offset = float(weight @ own) / total
    scatter = float(weight @ (own - offset) ** 2) / max(1, int(sure.sum()) - 1)
    inflate = max(1.0, scatter) if int(sure.sum()) > 2 else 1.5
    return offset, float(np.sqrt(inflate / total))
