"""Forecasts of a heated church, scored on churches of another model and on a real house.

Simulated: `tests.condition.heating.churches`, 10 heat-ups each, every one forecast from those
before it; the prior errors and what they grow by were fitted on seeds 0 to 24, and seeds 25 to 49
and 100 to 124 judge. Real: the hourly winter of one house in the source archive of the package
darkgreybox (its licence file is MIT, its index entry says GPL; nothing of it is shipped here).
Fetch it with ``pip download --no-deps --no-binary :all: darkgreybox``, unpack it and give the
folder that holds ``demo_data.csv`` in the environment variable WALKBOARD_HOUSE.
"""

from __future__ import annotations

import csv
import os
from pathlib import Path

import numpy as np
from tests.condition.heating.churches import a_winter

from walkboard.condition.heating.forecast import Heating
from walkboard.condition.heating.heat_ups import HeatUp, HeatUpLimits, find_heat_ups

CHURCHES = {"fitted on": range(25), "judged on": (*range(25, 50), *range(100, 125))}


def main() -> None:
    for words, seeds in CHURCHES.items():
        print(f"{len(seeds)} simulated churches, {words}", flush=True)
        _score([_heat_ups(seed) for seed in seeds])
    house = os.environ.get("WALKBOARD_HOUSE")
    if not house:
        print("No house: WALKBOARD_HOUSE is not set.")
        return
    with (Path(house) / "demo_data.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    hours = np.arange(len(rows), dtype=float)
    air = np.array([float(row["Ti"]) for row in rows])
    outdoors = (hours, np.array([float(row["Ta"]) for row in rows]))
    # A house that is kept warm rises by 1 to 3 K in a morning: smaller rises count.
    limits = HeatUpLimits(rate_celsius_per_hour=0.15, window_h=2.0, rise_celsius=0.8)
    print("one house, 33 days by the hour")
    _score([find_heat_ups(hours, air, outdoors=outdoors, limits=limits)])


def _heat_ups(seed: int) -> tuple[HeatUp, ...]:
    winter = a_winter(seed)
    outdoors = (winter.hours, winter.outdoors_celsius)
    return find_heat_ups(winter.hours, winter.organ_celsius, outdoors=outdoors)


def _score(buildings: list[tuple[HeatUp, ...]]) -> None:
    each = [Heating(heat_ups).scores for heat_ups in buildings if heat_ups]
    scores = [s for of_one in each for s in of_one]
    errors = np.array([s.error_celsius for s in scores])
    rises = np.array([float(s.heat_up.celsius[-1]) - s.heat_up.from_celsius for s in scores])
    print(f"  heat-ups forecast {len(scores)} of {sum(map(len, buildings))} found")
    print(f"  error of the air at the end: median {np.median(np.abs(errors)):.2f} K,")
    print(f"    mean {errors.mean():+.2f} K, rms {np.sqrt((errors**2).mean()):.2f} K")
    print(f"  rms if it stayed as at switching on: {np.sqrt((rises**2).mean()):.2f} K")
    print(f"  80 % intervals held: {np.mean([s.held for s in scores]):.2f}")
    widths = [s.high_celsius - s.low_celsius for s in scores]
    print(f"  half their width: median {np.median(widths) / 2.0:.2f} K")
    for words, part in (("first two", slice(0, 2)), ("later ones", slice(2, None))):
        print(f"    {words}: {np.mean([s.held for of_one in each for s in of_one[part]]):.2f}")
