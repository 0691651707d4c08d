"""What bands simulated rooms can keep: each style's own, widened to hold what the air its wheels lie in really does.

A normal year is one in which a dairy keeps its rooms, so a band that a room leaves in every damp month is no band for it.
``python -m tests.system.kept_bands`` lives a year of seeds 1 and 2 (some minutes), in which nothing is wrong, and prints
for each stage the band that `KEPT_BANDS` has to have.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sensors_sim.scenario import Scenario
from sensors_sim.world import World
from tests.system.simulated_rooms import DAY_S, KEPT_BANDS, ordinary_year, style_bands

SEEDS = (1, 2)
SHARE_PCT = 1.0
"""So much of the half hours of a year may lie beyond each side of a band: between three and four days."""
HALF_HOUR_S = 1800.0
ROUNDED_TO_PCT = 0.5
Place = tuple[str, str]


def widened(
    own: dict[tuple[str, str], tuple[float, float]],
    where: dict[tuple[str, str], set[Place]],
    air: dict[Place, NDArray[np.float64]],
) -> dict[tuple[str, str], tuple[float, float]]:
    """The bands (by style and stage) [% RH] that hold the air of the places where a stage's wheels lie.

    ``air`` has the half-hourly means of the true air at each place [% RH].  A side is moved out to the percentile that
    leaves `SHARE_PCT` beyond it, rounded outwards, never in.
    """
    bands = {}
    for stage, (low, high) in own.items():
        lived = np.concatenate([air[place] for place in sorted(where[stage])])
        least, most = np.percentile(lived, [SHARE_PCT, 100.0 - SHARE_PCT])
        least = math.floor(least / ROUNDED_TO_PCT) * ROUNDED_TO_PCT
        most = min(math.ceil(most / ROUNDED_TO_PCT) * ROUNDED_TO_PCT, 100.0)
        bands[stage] = (min(low, least), max(high, most))
    return bands


def lying_places(
    scenario: Scenario, stages: dict[tuple[str, str], tuple[float, float]]
) -> dict[tuple[str, str], set[Place]]:
    """Where the wheels of each style and stage lie; ``stages`` has the days [d] at which each begins and ends."""
    where: dict[tuple[str, str], set[Place]] = defaultdict(set)
    for batch in scenario.batches:
        ends = [leg[0] for leg in batch.route[1:]] + [math.inf]
        for (begin, room, place), end in zip(batch.route, ends, strict=True):
            for (style, stage), (first, last) in stages.items():
                if style == batch.style and begin < last and first < end:
                    where[style, stage].add((room, place))
    return where


def true_air(seeds: Sequence[int], days: int) -> dict[Place, NDArray[np.float64]]:
    """Half-hourly means of the true air at each place [% RH], of several seeds one after the other."""
    parts: dict[Place, list[NDArray[np.float64]]] = defaultdict(list)
    for seed in seeds:
        scenario = ordinary_year(seed, days, 300.0)
        world, per_mean = World(scenario), round(HALF_HOUR_S / scenario.step)
        for _ in range(days):
            for place, rh_pct in world.advance(round(DAY_S / scenario.step)).rh_pct.items():
                parts[place].append(rh_pct.reshape(-1, per_mean).mean(axis=1))
    return {place: np.concatenate(means) for place, means in parts.items()}


def computed(seeds: Sequence[int] = SEEDS, days: int = 365) -> dict[tuple[str, str], tuple[float, float]]:
    """The bands that differ from the demo's own, by style and stage [% RH]."""
    own, begun = style_bands()
    bands = widened(own, lying_places(ordinary_year(seeds[0], days, 300.0), begun), true_air(seeds, days))
    return {stage: band for stage, band in bands.items() if band != own[stage]}


if __name__ == "__main__":
    found = computed()
    for name, limits in found.items():
        print(*name, limits)
    print("as in KEPT_BANDS" if found == KEPT_BANDS else "NOT as in KEPT_BANDS")
