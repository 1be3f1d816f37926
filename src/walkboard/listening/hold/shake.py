"""What wind shake too fast for the slow basis leaves in a mean frequency."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.movement import Floats, SlowBasis
from walkboard.listening.hold.spectrum import Envelopes

_SLOWEST_SHAKE_HZ = 2.5  # chosen: below, the room's delay is counted with the wander
_FASTEST_SHAKE_HZ = 9.0  # chosen: above, the envelopes' low-pass passes less than half


def fast_shake_hz2(
    env: Envelopes,
    basis: SlowBasis,
    course: Floats,
    turned_back: NDArray[np.complex128],
    means: NDArray[np.complex128],
    *,
    there: NDArray[np.bool_],
) -> float:
    """Variance of the mean from wind that shakes at 3 Hz and faster [Hz²].

    Such a shake is a phase φ(t) that varies equally in all partials. The mean over the window
    contains [φ(T) − φ(0)]/2πT of it, with a mean square of twice that of φ over (2πT)². What the
    basis cannot follow counts once for that; all of it counts once more, because the room delays it
    by an unknown share of its period.

    Parameters
    ----------
    course : ndarray, shape (1 + terms,)
        Estimated mean frequency and wander coefficients [Hz].
    turned_back : ndarray, shape (channels, partials, nodes)
        Envelopes with the course's phase removed.
    means : ndarray, shape (channels, partials)
        Mean of each of them.
    there : ndarray of bool, shape (channels, partials)
        Partials that stand out from the noise.
    """
    seconds = basis.seconds
    nodes = env.values.shape[2]
    terms = np.arange(1, min(nodes, int(2.0 * seconds * _FASTEST_SHAKE_HZ) + 1))
    followed = len(basis.rates_hz)
    fast = basis.rates_hz > _SLOWEST_SHAKE_HZ
    followed_power = 0.5 * float(((2.0 * seconds * course[1:] / terms[:followed])[fast] ** 2).sum())
    beyond = terms[followed:]
    if len(beyond) == 0 or not there.any():
        return 2.0 * followed_power / (2.0 * np.pi * seconds) ** 2
    number = np.broadcast_to(env.numbers, there.shape)[there].astype(float)[:, np.newaxis]
    mean = means[there][:, np.newaxis]
    angle = np.pi * (np.arange(nodes) + 0.5) / nodes
    kept = env.response(beyond / (2.0 * seconds))
    cosines = np.sqrt(2.0 / nodes) * np.cos(np.outer(angle, beyond)) / kept
    moved = (turned_back[there] * (mean.conj() / np.abs(mean))) @ cosines
    white = 0.5 * env.noise[there] * float((kept**-2.0).sum())  # of each of the two parts
    weight = 1.0 / (env.noise[there] + 1e-3 * np.abs(mean[:, 0]) ** 2)
    scale = float(weight @ (number * np.abs(mean))[:, 0] ** 2)
    turned = max(0.0, float(weight @ ((moved.imag**2).sum(axis=1) - white)) / scale)
    swelled = max(0.0, float(weight @ ((moved.real**2).sum(axis=1) - white)) / scale)
    own = weight * (number * np.abs(mean))[:, 0] ** 2
    shared = own @ (moved.imag / (number * np.abs(mean))) / own.sum()
    # The room puts a shake into both parts equally; a swell in loudness is something else.
    power = (turned + min(swelled, max(0.0, turned - float((shared**2).sum())))) / nodes
    return float(4.0 * power + 2.0 * followed_power) / (2.0 * np.pi * seconds) ** 2
