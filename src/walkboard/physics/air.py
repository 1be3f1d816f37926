"""Air: speed of sound, density, and how temperature changes the pitch of a flue.

The only source of a speed of sound in the program. Air is passed in, never a global setting.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from walkboard.quantities import ZERO_CELSIUS_K, cents_of_ratio

STANDARD_PRESSURE_PA = 101_325.0  # Pa; standard atmosphere, 10th CGPM 1954
STANDARD_CO2 = 0.0004  # mole fraction; recommended in IEC 61094-2:2009, clause F.2
HELD_HUMIDITY = 0.5  # relative humidity assumed at the pitch temperature if none was measured

# Cramer 1993, Table III; the same sixteen figures in IEC 61094-2:2009, Table F.2.
_C = (
    331.5024,
    0.603055,
    -0.000528,
    51.471935,
    0.1495874,
    -0.000782,
    -1.82e-7,
    3.73e-8,
    -2.93e-10,
    -85.20931,
    -0.228525,
    5.91e-5,
    -2.835149,
    -2.15e-13,
    29.179762,
    0.000486,
)


@dataclass(frozen=True, slots=True)
class Air:
    """A state of air.

    Attributes
    ----------
    celsius : float
        Temperature [°C], −20 to 50.
    humidity : float
        Relative humidity [-], 0 to 1.
    pressure_pa : float
        Static pressure [Pa], 50 000 to 120 000.
    co2 : float
        Mole fraction of carbon dioxide [-], below 0.01; 0.0004 outdoors, 0.0015 in a full church.
    """

    celsius: float
    humidity: float = HELD_HUMIDITY
    pressure_pa: float = STANDARD_PRESSURE_PA
    co2: float = STANDARD_CO2

    def __post_init__(self) -> None:
        for name, low, high, slip in (
            ("celsius", -20.0, 50.0, "did you give °F or kelvin?"),
            ("humidity", 0.0, 1.0, "did you give per cent? 50 % is 0.5"),
            ("pressure_pa", 50_000.0, 120_000.0, "did you give hPa? 1013 hPa is 101 300 Pa"),
            ("co2", 0.0, 0.01, "did you give ppm? 400 ppm is 0.0004"),
        ):
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"{name} must lie from {low} to {high}, not {value!r}: {slip}")

    @property
    def kelvin(self) -> float:
        """Thermodynamic temperature [K]."""
        return self.celsius + ZERO_CELSIUS_K

    @property
    def water(self) -> float:
        """Mole fraction of water vapour [-]."""
        return self.humidity * _water_at_saturation(self)

    def at(self, celsius: float) -> Air:
        """The same air warmed or cooled: its water content stays, its relative humidity changes.

        Air cooled below its dew point becomes saturated.
        """
        moved = replace(self, celsius=celsius)
        return replace(moved, humidity=min(1.0, self.water / _water_at_saturation(moved)))


def saturation_pressure_pa(celsius: float) -> float:
    """Pressure of water vapour over water [Pa].

    Notes
    -----
    psv = exp(A T² + B T + C + D/T), A 1.2378847e-5, B −1.9121316e-2, C 33.93711047, D −6343.1645.
    Davis 1992, Metrologia 29:67, eq. 22; IEC 61094-2:2009, Annex F. Stated for 0 to 27 °C; against
    CoolProp 8.0.0's water within 0.01 % from 1 to 50 °C.
    """
    kelvin = celsius + ZERO_CELSIUS_K
    exponent = 1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6343.1645 / kelvin
    return math.exp(exponent)


def speed_of_sound_m_s(air: Air) -> float:
    """Speed of sound in moist air [m/s].

    Notes
    -----
    Cramer 1993, JASA 93:2510, eq. 15 and Table III, with the water vapour of IEC 61094-2:2009,
    Annex F (enhancement factor f = 1.00062 + 3.14e-8 p + 5.6e-7 t²). Range: 0 to 30 °C, 75 to 102
    kPa, water below 0.06, CO₂ below 0.01; IEC states 15 to 27 °C, 60 to 110 kPa. Known error: below
    300 ppm (0.1 m/s, 0.5 cent) as the paper states it. Outside the range the polynomial continues
    smoothly: against CoolProp 8.0.0 at 50 % humidity it is off by 0.04 m/s at most from −20 to 40
    °C; at 50 °C and 100 % by 0.11 m/s.
    """
    t, p, water, co2 = air.celsius, air.pressure_pa, air.water, air.co2
    return (
        (_C[0] + _C[1] * t + _C[2] * t**2)
        + (_C[3] + _C[4] * t + _C[5] * t**2) * water
        + (_C[6] + _C[7] * t + _C[8] * t**2) * p
        + (_C[9] + _C[10] * t + _C[11] * t**2) * co2
        + _C[12] * water**2
        + _C[13] * p**2
        + _C[14] * co2**2
        + _C[15] * water * p * co2
    )


def speed_of_sound_iso9613_m_s(celsius: float) -> float:
    """Speed of sound by temperature alone [m/s]: c = 343.2 √(T/293.15 K).

    Notes
    -----
    ISO 9613-1:1993, formula A.5; −20 to +50 °C. Known error: up to 0.17 m/s (0.83 cent) below
    Cramer's dry air between 0 and 30 °C; humidity is left out, up to 9 cents at 25 °C. Kept for
    comparison; the program uses `speed_of_sound_m_s`.
    """
    return 343.2 * math.sqrt((celsius + ZERO_CELSIUS_K) / 293.15)


def density_kg_m3(air: Air) -> float:
    """Density of moist air [kg/m³].

    Notes
    -----
    ρ = (3.483740 + 1.4446 (x_CO₂ − 0.0004))·10⁻³ · p/(Z T) · (1 − 0.3780 x_w), compressibility Z of
    the CIPM. Picard et al. 2008 (CIPM-2007), Metrologia 45:149, eq. 2; IEC 61094-2:2009, Annex F.
    Range: 15 to 27 °C, 60 to 110 kPa. Known error: relative uncertainty 2.2e-5 of the equation as
    CIPM state it; against CoolProp 8.0.0 within 1e-4 from −20 to 50 °C.
    """
    t, kelvin, p, water = air.celsius, air.kelvin, air.pressure_pa, air.water
    virial = (
        1.58123e-6
        - 2.9331e-8 * t
        + 1.1043e-10 * t**2
        + (5.707e-6 - 2.051e-8 * t) * water
        + (1.9898e-4 - 2.376e-6 * t) * water**2
    )
    z = 1.0 - p / kelvin * virial + (p / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * water**2)
    dry = (3.483740 + 1.4446 * (air.co2 - STANDARD_CO2)) * 1e-3 * p / (z * kelvin)
    return dry * (1.0 - 0.3780 * water)


def pitch_ratio(from_celsius: float, to_celsius: float) -> float:
    """Factor on a flue's frequency when its air goes from one temperature to the other [-].

    Parameters
    ----------
    from_celsius : float
        The temperature its pitch is stated for [°C].
    to_celsius : float
        The temperature of its air [°C].

    Notes
    -----
    c(to)/c(from) at constant water content, starting from 50 % humidity at `from_celsius`, as when
    a building is heated. Cramer 1993 as in `speed_of_sound_m_s`. About 2.95 cents/°C at 20 °C.
    Range 0 to 30 °C; against the real-gas air of CoolProp 8.0.0 within 0.05 cent between any two of
    5 to 30 °C. Known error: other humidity than assumed, 1.3 cents from 40 to 60 % at 20 °C; the
    expansion of metal, 0.05 cent/°C, and of wood, 0.01, is left out.
    """
    start = Air(from_celsius)
    return speed_of_sound_m_s(start.at(to_celsius)) / speed_of_sound_m_s(start)


def celsius_for_pitch_ratio(from_celsius: float, ratio: float) -> float:
    """The air temperature at which flues are off their pitch by a ratio [°C].

    The inverse of `pitch_ratio`: the air that a division's common shift implies.

    Raises
    ------
    ValueError
        If no air from −20 to 50 °C gives that ratio.
    """
    low, high = -20.0, 50.0
    if not pitch_ratio(from_celsius, low) <= ratio <= pitch_ratio(from_celsius, high):
        raise ValueError(f"no air from -20 to 50 °C moves a flue by a ratio of {ratio!r}")
    # bisection: the ratio rises throughout, and 50 halvings reach 1e-13 °C
    for _ in range(50):
        middle = 0.5 * (low + high)
        if pitch_ratio(from_celsius, middle) < ratio:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def cents_per_celsius(air: Air) -> float:
    """How fast a flue's pitch rises with temperature at constant water content [cents/°C].

    Notes
    -----
    Central difference over ±0.05 °C of `speed_of_sound_m_s`. 3.00 at 15 °C, 2.95 at 20 °C.
    """
    warm = air.at(min(air.celsius + 0.05, 50.0))
    cold = air.at(max(air.celsius - 0.05, -20.0))
    if cold.humidity == 1.0 and warm.celsius > air.celsius:
        cold = air  # saturated air loses water as it cools, so take the slope on the warm side
    rise = cents_of_ratio(speed_of_sound_m_s(warm) / speed_of_sound_m_s(cold))
    return rise / (warm.celsius - cold.celsius)


def cents_per_celsius_at_held_humidity(air: Air) -> float:
    """The same if the heating is humidified, so that relative humidity stays [cents/°C]."""
    warm = replace(air, celsius=min(air.celsius + 0.05, 50.0))
    cold = replace(air, celsius=max(air.celsius - 0.05, -20.0))
    rise = cents_of_ratio(speed_of_sound_m_s(warm) / speed_of_sound_m_s(cold))
    return rise / (warm.celsius - cold.celsius)


def cents_per_celsius_ideal(celsius: float) -> float:
    """The same of an ideal gas, c ∝ √T: 600/(ln 2 · T) [cents/°C].

    Notes
    -----
    Derivative of ISO 9613-1:1993, formula A.5. Within 0.01 of `cents_per_celsius` from 5 to 25 °C.
    """
    return 600.0 / (math.log(2.0) * (celsius + ZERO_CELSIUS_K))


def _water_at_saturation(air: Air) -> float:
    enhancement = 1.00062 + 3.14e-8 * air.pressure_pa + 5.6e-7 * air.celsius**2
    return enhancement * saturation_pressure_pa(air.celsius) / air.pressure_pa
