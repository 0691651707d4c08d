"""How quickly a million points of humid air are worked out, against psychrolib in the same run.

psychrolib takes one point at a time unless numba is installed, when it takes arrays. Where numba is not
importable here, that comparison is left out and the note says so.
"""

from __future__ import annotations

import importlib.util
import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np
import psychrolib

from monitor import air
from tests.benchmarks import Figure

POINTS = 1_000_000
SCALAR_POINTS = 20_000
PRESSURE_PA = 101_325.0
ROUNDS = 7


def best_seconds(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    """The shortest of several runs, after one to warm up [s]."""
    work()
    taken = []
    for _ in range(rounds):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def climates(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Temperatures of 2..25 degC and humidities of 40..99.5 % as a maturing room's archive holds them."""
    random = np.random.default_rng(1)
    return random.uniform(2.0, 25.0, count), random.uniform(40.0, 99.5, count)


def scalar_seconds(function: Callable[..., float], *more: float) -> float:
    """psychrolib without numba, point by point, scaled to the million [s]."""
    t, rh = climates(SCALAR_POINTS)
    points = [(a, b / 100.0) for a, b in zip(t.tolist(), rh.tolist(), strict=True)]
    return best_seconds(lambda: [function(a, b, *more) for a, b in points], 2) * POINTS / SCALAR_POINTS


def numba_seconds() -> dict[str, float]:
    """psychrolib with numba on the whole arrays, in a process of its own [s]; empty without numba."""
    if importlib.util.find_spec("numba") is None:
        return {}
    told = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.air", "numba"], capture_output=True, text=True, check=True
    )
    return {name: float(value) for name, value in (line.split() for line in told.stdout.splitlines())}


def _tell_numba() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    t, rh = climates(POINTS)
    fraction = rh / 100.0
    print("dew_point", best_seconds(lambda: psychrolib.GetTDewPointFromRelHum(t, fraction)))
    print("humidity_ratio", best_seconds(lambda: psychrolib.GetHumRatioFromRelHum(t, fraction, PRESSURE_PA)))


def run() -> list[Figure]:
    """Millions of points a second and their ratios to psychrolib."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    t, rh = climates(POINTS)
    cases: list[tuple[str, str, Callable[[], object], Callable[[], float]]] = [
        (
            "dew_point",
            "dew_point",
            lambda: air.dew_point(t, rh),
            lambda: scalar_seconds(psychrolib.GetTDewPointFromRelHum),
        ),
        (
            "humidity_ratio",
            "humidity_ratio without enhancement, as psychrolib",
            lambda: air.humidity_ratio(t, rh, PRESSURE_PA, enhancement=False),
            lambda: scalar_seconds(psychrolib.GetHumRatioFromRelHum, PRESSURE_PA),
        ),
        (
            "humidity_ratio",
            "humidity_ratio with enhancement, which psychrolib lacks",
            lambda: air.humidity_ratio(t, rh, PRESSURE_PA),
            lambda: scalar_seconds(psychrolib.GetHumRatioFromRelHum, PRESSURE_PA),
        ),
    ]
    with_numba = numba_seconds()
    note = "" if with_numba else "numba is not installed here: not compared with it"
    figures = []
    for key, name, ours, scalar in cases:
        seconds, baseline = best_seconds(ours), scalar()
        figures.append(_figure(name, seconds, "psychrolib without numba", baseline, ">= 50", note))
        if key in with_numba:
            figures.append(_figure(name, seconds, "psychrolib with numba", with_numba[key], ">= 1", ""))
    return figures


def _figure(name: str, seconds: float, against: str, baseline: float, goal: str, note: str) -> Figure:
    rate = POINTS / 1e6
    return Figure(
        name=f"{name}, 1M points",
        value=rate / seconds,
        unit="million points/s",
        baseline_name=against,
        baseline=rate / baseline,
        ratio=baseline / seconds,
        goal=goal,
        note=note,
    )


if __name__ == "__main__":
    if sys.argv[1:] == ["numba"]:
        _tell_numba()
    else:
        for figure in run():
            print(figure)
