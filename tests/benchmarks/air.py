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


def psychrolib_seconds(with_numba: bool) -> dict[str, float]:
    """Time of psychrolib for the million points, in a process of its own [s]; empty if numba is wanted and absent.

    Without numba it goes point by point; so many points are timed and scaled up.
    """
    if with_numba and importlib.util.find_spec("numba") is None:
        return {}
    told = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.air", "numba" if with_numba else "plain"],
        capture_output=True,
        text=True,
        check=True,
    )
    return {name: float(value) for name, value in (line.split() for line in told.stdout.splitlines())}


def _tell_psychrolib(with_numba: bool) -> None:
    """Print what `psychrolib_seconds` reads; run in a process where numba is not yet loaded."""
    if not with_numba:
        sys.modules["numba"] = None  # type: ignore[assignment]  # the import then fails, as if absent
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    dew, ratio = psychrolib.GetTDewPointFromRelHum, psychrolib.GetHumRatioFromRelHum
    if with_numba:
        t, rh = climates(POINTS)
        rh /= 100.0
        print("dew_point", best_seconds(lambda: dew(t, rh)))
        print("humidity_ratio", best_seconds(lambda: ratio(t, rh, PRESSURE_PA)))
        return
    points = [(a, b / 100.0) for a, b in zip(*(x.tolist() for x in climates(SCALAR_POINTS)), strict=True)]
    scale = POINTS / SCALAR_POINTS
    print("dew_point", scale * best_seconds(lambda: [dew(a, b) for a, b in points], 3))
    print("humidity_ratio", scale * best_seconds(lambda: [ratio(a, b, PRESSURE_PA) for a, b in points], 3))


def run() -> list[Figure]:
    """Millions of points a second and their ratios to psychrolib."""
    t, rh = climates(POINTS)
    cases: list[tuple[str, str, Callable[[], object]]] = [
        ("dew_point", "dew_point", lambda: air.dew_point(t, rh)),
        (
            "humidity_ratio",
            "humidity_ratio without enhancement, as psychrolib",
            lambda: air.humidity_ratio(t, rh, PRESSURE_PA, enhancement=False),
        ),
        (
            "humidity_ratio",
            "humidity_ratio with enhancement, which psychrolib lacks",
            lambda: air.humidity_ratio(t, rh, PRESSURE_PA),
        ),
    ]
    plain, with_numba = psychrolib_seconds(False), psychrolib_seconds(True)
    note = "" if with_numba else "numba is not installed here: not compared with it"
    figures = []
    for key, name, work in cases:
        seconds = best_seconds(work)
        figures.append(_figure(name, seconds, "psychrolib without numba", plain[key], ">= 50", note))
        if with_numba:
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
    _tell_psychrolib(sys.argv[1] == "numba")
