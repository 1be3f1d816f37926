"""The room: the air an organ needs before it is tuned, as builders and tuners say.

These are customs printed by the sources named, coarser than physics; they colour advice and decide
nothing.
"""

from __future__ import annotations

from walkboard.physics.air import Air

CELSIUS_PER_FAHRENHEIT = 5.0 / 9.0  # degrees of difference; definition

WARM_UP_HOURS = 8.0  # h, before tuning; Kerner & Merchant, questions and answers; stated ideal
SAME_AS_SERVICE_FAHRENHEIT = 2.0  # °F between tuning and service; Whitesel, article, part 1
SOUNDS_OUT_FAHRENHEIT = 5.0  # °F at which an organ sounds out; American Guild of Organists, 2018
HUMIDITY_LOW = 0.40  # relative humidity to keep above; American Guild of Organists panel, 2018
HUMIDITY_HIGH = 0.60  # and below; ibid.
HUMIDITY_NORTH = 0.65  # to hold steady in northern Europe, ±0.10; J. Lane & Associates, advice
HEATING_CELSIUS_PER_HOUR = 2.0  # °C/h at most; J. Lane & Associates, advice
VISITS_A_YEAR = 2.0  # usual, 1 to 3; several builders' pages
PRINTED_FLUE_CENTS_PER_FAHRENHEIT = 2.0  # cents/°F, printed for customers by Muller; physics: 1.64


def celsius_of_fahrenheit(fahrenheit: float) -> float:
    """Temperature on the Celsius scale [°C]; definition."""
    return (fahrenheit - 32.0) * CELSIUS_PER_FAHRENHEIT


def concerns(air: Air, service_celsius: float) -> tuple[str, ...]:
    """A builder's objections to tuning in this air, one sentence each.

    Parameters
    ----------
    air : Air
        Air in the room now.
    service_celsius : float
        The temperature it will be played at [°C].

    Returns
    -------
    tuple of str
        Empty if the room is as it should be.
    """
    found = []
    gap = abs(air.celsius - service_celsius)
    if gap > SAME_AS_SERVICE_FAHRENHEIT * CELSIUS_PER_FAHRENHEIT:
        found.append(
            f"The room is {gap:.1f} °C from the temperature it will be played at; "
            "builders ask for no more than about 1 °C."
        )
    if not HUMIDITY_LOW <= air.humidity <= HUMIDITY_NORTH + 0.10:
        found.append(
            f"The relative humidity is {100 * air.humidity:.0f} %; builders ask for 40 to 60 %, "
            "steady, up to 75 % in northern churches."
        )
    return tuple(found)
