"""Driving hours between towns: typed where someone knows them, else from coordinates.

A road is longer than the straight line by about 1.3, over short trips a little more (Boscoe, Henry
and Zdeb 2012, Professional Geographer 64:188: a detour index of 1.417 on average to US hospitals;
from memory), and country roads average 60 km/h. Both are chosen; a typed time replaces them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

EARTH_KM = 6371.0088  # mean radius, IUGG (GRS 80)
DETOUR = 1.4  # chosen, after the source above
SPEED_KMH = 60.0  # chosen


@dataclass(frozen=True, slots=True)
class Town:
    """A town on the map.

    Attributes
    ----------
    name : str
    latitude, longitude : float
        [degrees]
    """

    name: str
    latitude: float
    longitude: float


def distance_km(one: Town, other: Town) -> float:
    """Great-circle distance (haversine) [km]."""
    a, b = math.radians(one.latitude), math.radians(other.latitude)
    across = math.radians(other.longitude - one.longitude)
    h = math.sin((b - a) / 2.0) ** 2 + math.cos(a) * math.cos(b) * math.sin(across / 2.0) ** 2
    return 2.0 * EARTH_KM * math.asin(min(1.0, math.sqrt(h)))


def one_way_hours(one: Town, other: Town, typed: Mapping[frozenset[str], float]) -> float:
    """Hours on the road from one town to another.

    Parameters
    ----------
    one, other : Town
    typed : mapping of pair of town names to float
        Minutes that someone typed.
    """
    if one.name == other.name:
        return 0.0
    minutes = typed.get(frozenset((one.name, other.name)))
    if minutes is not None:
        return minutes / 60.0
    return distance_km(one, other) * DETOUR / SPEED_KMH
