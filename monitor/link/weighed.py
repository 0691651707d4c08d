"""What the scale says of a rind: how much more a wheel loses than a twin of its style in the same air.

It is a trait of the wheel (its rind, its cloth, its paste) and of what its sensors get wrong, so all of a wheel's weighings up
to the study count for each of its days.  A wheel that was weighed too seldom takes the mean of its make.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence

import numpy as np

from monitor.climate.doses import Span
from monitor.clock import DAY_MS
from monitor.link.life import Life

Between = Callable[[Life, str, int, int], Span]
LEAST_COVERAGE = 0.5
"""Share of the days between weighings whose air must be known."""
LEAST_LOSS_KG, LEAST_TWIN_KG = 1e-3, 1e-2
SMALLEST, LARGEST = -1.0, 2.0
"""Log ratios beyond these tell of scales and sensors, not of rinds."""


def looseness_of(lives: Sequence[Life], between: Between) -> dict[str, float]:
    """Log of the mass lost from the first weighing to the last over what the twin lost meanwhile, by wheel [-].

    Parameters
    ----------
    lives : wheels, whole makes of them
    between : dose of a wheel's twin over a span, as `monitor.link.exposure.Exposures.between`

    Returns
    -------
    dict : by name; of a wheel without two weighings the mean of its make; wheels of makes never weighed are not in it
    """
    own = {life.name: value for life in lives if (value := _of(life, between)) is not None}
    mates: dict[str, list[float]] = defaultdict(list)
    for life in lives:
        if life.name in own:
            mates[life.make].append(own[life.name])
    means = {make: float(np.mean(values)) for make, values in mates.items()}
    return {life.name: own.get(life.name, means[life.make]) for life in lives if life.make in means}


def _of(life: Life, between: Between) -> float | None:
    weighed = [(e.at_ms, float(e.details["mass_kg"])) for e in life.entries if e.kind == "weighing"]
    if len(weighed) < 2 or weighed[-1][0] <= weighed[0][0]:
        return None
    (first_ms, first_kg), (last_ms, last_kg) = weighed[0], weighed[-1]
    span = between(life, "twin_loss", first_ms, last_ms)
    if span.mean_rate is None or span.coverage < LEAST_COVERAGE:
        return None
    twin_kg = span.mean_rate * (last_ms - first_ms) / DAY_MS
    ratio = np.log(max(first_kg - last_kg, LEAST_LOSS_KG) / max(twin_kg, LEAST_TWIN_KG))
    return float(np.clip(ratio, SMALLEST, LARGEST))
