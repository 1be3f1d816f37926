"""Flue pipes: length, end and mouth correction, and how far to move for a change of cents.

Lengths are millimetres, areas mm². The speed of sound is an argument (`walkboard.physics.air`). How
far a slide or stopper must move follows from the sounding pitch alone and is exact while the
corrections at mouth and end stay the same; an absolute length from a pitch is not exact: published
rules differ by about 15 cents.
"""

from __future__ import annotations

import math
from enum import IntEnum

from walkboard.quantities import CENTS_PER_NEPER, ratio_of_cents

NORMAL_SCALE_MM = 155.5  # mm inside at 8′ C; normal scale, Adelung 1991, pp. 85-86
NORMAL_SCALE_HALVING = 16  # semitones in which the diameter halves; areas √8 : 1 an octave, ibid.
CAVAILLE_COLL_SPEED_M_S = 340.0  # m/s; the speed of sound printed with the rule of 1860
DIAPASON_MOUTH = 0.25  # mouth width over circumference; normal scale, ibid.
DIAPASON_CUT_UP = 0.25  # cut-up over mouth width; common practice, no source


class End(IntEnum):
    """The top of a pipe, open or stopped: the number of quarter waves in it."""

    STOPPED = 1
    OPEN = 2


def effective_length_mm(hz: float, speed_m_s: float, end: End) -> float:
    """Length of the sounding air column, corrections included [mm].

    Parameters
    ----------
    hz : float
        Sounding frequency [Hz].
    speed_m_s : float
        Speed of sound in the pipe [m/s].
    end : End

    Raises
    ------
    ValueError
        If the frequency or the speed is not positive.

    Notes
    -----
    L = c/(2f) open, c/(4f) stopped. Ising, Walcker Hausmitteilung 42, 1971. Fundamental; source
    states no range.
    """
    if not (hz > 0.0 and speed_m_s > 0.0):
        raise ValueError(f"frequency and speed must be positive, not {hz!r} Hz, {speed_m_s!r} m/s")
    return 1000.0 * int(end) * speed_m_s / (4.0 * hz)


def mouth_correction_mm(bore_mm2: float, mouth_width_mm: float, cut_up_mm: float) -> float:
    """Mouth correction of the length [mm]: 0.73 S/√(S_mouth).

    Parameters
    ----------
    bore_mm2 : float
        Area of the bore S [mm²].
    mouth_width_mm, cut_up_mm : float
        Width and height of the mouth [mm].

    Notes
    -----
    Ising, Walcker Hausmitteilung 42, 1971; for ordinary labial pipes without ears. The same as 2.29
    r²/√(lh), of which 2.3 is often quoted from Ingerslev and Frobenius 1947 (from memory). Known
    error: with the open end, the total is 5 % above that of `cavaille_coll_length_mm` for a mouth a
    quarter as high as wide, 16 cents at A4.
    """
    return 0.73 * bore_mm2 / math.sqrt(mouth_width_mm * cut_up_mm)


def open_end_correction_mm(bore_mm2: float) -> float:
    """End correction of a thin-walled open pipe [mm]: 0.34 √S, 0.603 of the radius.

    Notes
    -----
    Ising, Walcker Hausmitteilung 42, 1971. Source states no range; within 0.011 of the radius of
    the exact unflanged tube at ka → 0.
    """
    return 0.34 * math.sqrt(bore_mm2)


def ising_length_mm(
    hz: float,
    speed_m_s: float,
    end: End,
    diameter_mm: float,
    *,
    mouth: float = DIAPASON_MOUTH,
    cut_up: float = DIAPASON_CUT_UP,
) -> float:
    """Speaking length of a cylindrical pipe from its pitch [mm].

    Parameters
    ----------
    hz, speed_m_s : float
        Pitch [Hz] and speed of sound [m/s].
    end : End
    diameter_mm : float
        Inside diameter [mm].
    mouth : float
        Mouth width over circumference [-].
    cut_up : float
        Mouth height over mouth width [-].

    Notes
    -----
    L = c/(2f) − ΔL_mouth − ΔL_open, or c/(4f) − ΔL_mouth when stopped. Ising, Walcker
    Hausmitteilung 42, 1971. Known error: ±15 cents against other published rules.
    """
    bore = math.pi * diameter_mm**2 / 4.0
    width = mouth * math.pi * diameter_mm
    corrections = mouth_correction_mm(bore, width, cut_up * width)
    if end is End.OPEN:
        corrections += open_end_correction_mm(bore)
    return effective_length_mm(hz, speed_m_s, end) - corrections


def cavaille_coll_length_mm(
    hz: float, diameter_mm: float, speed_m_s: float = CAVAILLE_COLL_SPEED_M_S, half_waves: int = 1
) -> float:
    """Speaking length of an open cylindrical pipe by the builders' rule [mm]: n V/N − (5/3) D.

    Parameters
    ----------
    hz : float
        Pitch [Hz]; N of the rule counts simple vibrations, two to a period.
    diameter_mm : float
        Inside diameter D [mm].
    speed_m_s : float
        V [m/s].
    half_waves : int
        1; 2, 3 … for a harmonic pipe of two, three … times the length.

    Notes
    -----
    Cavaillé-Coll 1860, printed in Couwenbergh, L'orgue ancien et moderne, p. 295. Open metal pipes;
    source states no range. As printed (340 m/s) within 7 cents of `ising_length_mm` at 20 °C from
    8′ C to C6 in normal scale.
    """
    return half_waves * 1000.0 * speed_m_s / (2.0 * hz) - 5.0 / 3.0 * diameter_mm


def cavaille_coll_square_length_mm(
    hz: float, depth_mm: float, speed_m_s: float = CAVAILLE_COLL_SPEED_M_S
) -> float:
    """Speaking length of an open square wooden pipe by the builders' rule [mm]: V/N − 2 depth.

    Notes
    -----
    Cavaillé-Coll 1860; that depth counts is from the source, the factor 2 from memory. Source
    states no range.
    """
    return 1000.0 * speed_m_s / (2.0 * hz) - 2.0 * depth_mm


def normal_scale_mm(semitones: float, half_tones: float = 0.0) -> float:
    """Inside diameter of a pipe in the normal scale [mm].

    Parameters
    ----------
    semitones : float
        Above the pipe of 8′ C [-].
    half_tones : float
        Deviation from the normal scale: +1 HT is the diameter of the pipe a semitone lower.

    Notes
    -----
    D = 155.5 · 2^(−n/16), halving on the 17th pipe. Normal scale of Töpfer as fixed at Freiberg;
    Adelung, Einführung in den Orgelbau, 1991, pp. 85-86. Printed diameters at middle C within
    0.1 mm.
    """
    return float(NORMAL_SCALE_MM * 2.0 ** ((half_tones - semitones) / NORMAL_SCALE_HALVING))


def half_tones_of_scale(diameter_mm: float, semitones: float) -> float:
    """Deviation of a diameter from the normal scale [half-tones], + is wider."""
    return semitones + NORMAL_SCALE_HALVING * math.log2(diameter_mm / NORMAL_SCALE_MM)


def cut_up_mm(hz: float, end: End) -> float:
    """Usual height of the mouth by pitch [mm], a fit to several builders' pipes.

    Notes
    -----
    550 / 2^(ln f) open, (3.018 − 0.233 ln f)⁵ stopped. R. Giangiulio's page on wooden pipes. Source
    states no range or error; 30 to 5000 Hz here.

    Raises
    ------
    ValueError
        When the frequency lies outside 30 to 5000 Hz.
    """
    if not 30.0 <= hz <= 5000.0:
        raise ValueError(f"the fit of cut-ups holds from 30 to 5000 Hz, not at {hz!r} Hz")
    if end is End.OPEN:
        return float(550.0 / 2.0 ** math.log(hz))
    return float((3.018 - 0.233 * math.log(hz)) ** 5)


def cents_per_mm(hz: float, speed_m_s: float, end: End) -> float:
    """How the pitch changes with the length [cents/mm]; negative, longer is flatter.

    Notes
    -----
    −1731.23/L_eff, the derivative of `effective_length_mm`. At A4 and 20 °C: −4.44 open, −8.88
    stopped.
    """
    return -CENTS_PER_NEPER / effective_length_mm(hz, speed_m_s, end)


def slide_mm_for_cents(hz: float, cents: float, speed_m_s: float) -> float:
    """How far to move the slide of an open pipe [mm]; positive is up, longer.

    Parameters
    ----------
    hz : float
        Where it sounds now [Hz].
    cents : float
        Wanted change of pitch [cents]; positive is sharper.
    speed_m_s : float
        Speed of sound in the pipe [m/s].

    Notes
    -----
    L_eff · (2^(−cents/1200) − 1), exact, not the linear `cents_per_mm` (1.4 % off at 50 cents).
    Ising 1971 with corrections held; these change by less than 1 % of the movement for a few cents.
    """
    return effective_length_mm(hz, speed_m_s, End.OPEN) * (ratio_of_cents(-cents) - 1.0)


def stopper_mm_for_cents(hz: float, cents: float, speed_m_s: float) -> float:
    """How far to move the stopper or cap of a stopped pipe [mm]; positive is out, longer.

    Parameters and formula as `slide_mm_for_cents`, with a quarter wave instead of a half.
    """
    return effective_length_mm(hz, speed_m_s, End.STOPPED) * (ratio_of_cents(-cents) - 1.0)
