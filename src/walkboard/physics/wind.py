"""Wind: the water gauge, and the speed of the jet that a pressure can drive."""

from __future__ import annotations

import math
from dataclasses import dataclass

from walkboard.quantities import CONVENTIONAL_WATER_KG_M3, MM_PER_INCH, STANDARD_GRAVITY_M_S2

PA_PER_MM = 1e-3 * CONVENTIONAL_WATER_KG_M3 * STANDARD_GRAVITY_M_S2  # 9.80665 Pa, definition
PA_PER_INCH = MM_PER_INCH * PA_PER_MM  # 249.089 Pa, definition


@dataclass(frozen=True, slots=True)
class WindRange:
    """Wind pressures in use at a time.

    Attributes
    ----------
    when : str
    low_in, high_in : float
        Inches of water; `low_in` is 0 where the source gives an upper end only.
    source : str
    """

    when: str
    low_in: float
    high_in: float
    source: str


_HENDRICKSON = "C. Hendrickson, Wind Pressures, American Guild of Organists 1992"
PRESSURES_IN_USE = (
    WindRange("flues before the late 19th century", 2.0, 4.0, _HENDRICKSON),
    WindRange("flues 1910 to 1950", 4.0, 10.0, _HENDRICKSON),
    WindRange("large reeds 1910 to 1950", 0.0, 25.0, _HENDRICKSON),
    WindRange("flues by the 1980s", 3.0, 4.0, _HENDRICKSON),
    WindRange("the highest on record", 0.0, 100.0, _HENDRICKSON),
)


def pa_of_water_mm(water_mm: float) -> float:
    """Pressure of a column of conventional water [Pa].

    Notes
    -----
    p = ρ g h with 1000 kg/m³ and 9.80665 m/s². Definition of the millimetre of water; real water at
    20 °C weighs 0.18 % less.
    """
    return water_mm * PA_PER_MM


def pa_of_water_inches(water_inches: float) -> float:
    """Pressure of a column of conventional water given in inches [Pa]."""
    return water_inches * PA_PER_INCH


def jet_speed_m_s(pressure_pa: float, density_kg_m3: float) -> float:
    """Speed of an ideal jet from the flue [m/s]: √(2 p/ρ).

    Parameters
    ----------
    pressure_pa : float
        Pressure in the foot above that outside [Pa].
    density_kg_m3 : float
        Of the air [kg/m³]; `walkboard.physics.air.density_kg_m3`.

    Raises
    ------
    ValueError
        When the pressure is negative or the density not positive.

    Notes
    -----
    Bernoulli, incompressible: below 0.3 % low to 2500 Pa. Upper limit: friction in foot and flue is
    left out.
    """
    if not (pressure_pa >= 0.0 and density_kg_m3 > 0.0):
        raise ValueError(
            f"pressure must not be negative and density positive, not {pressure_pa!r} Pa, "
            f"{density_kg_m3!r} kg/m³"
        )
    return math.sqrt(2.0 * pressure_pa / density_kg_m3)
