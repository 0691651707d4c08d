"""The twin as a plane sheet that dries from both faces, against the exact series (Crank 1975)."""

from __future__ import annotations

import re

import numpy as np
import pytest

from tests.checks.exact_diffusion import (
    BALANCE,
    DRY_DIFFUSIVITY,
    START,
    linear_twin,
    live,
    plane_left,
    plane_profile,
    share_lost,
)
from tests.checks.published import rows

FILMS = [1.0, 5.0, 10.0, 50.0]
HALF = 0.0635
TIMES = [0.01, 0.05, 0.1, 0.2, 0.5, 1.0]
SECONDS = HALF**2 / DRY_DIFFUSIVITY
"""In which Fo rises by 1."""


def test_sheet_within_half_a_percent() -> None:
    """At four values of L the share lost stays within 0.5 % of the printed one; 24 shells, worst found 0.25 %."""
    printed = {
        (row.number("L"), float(re.search(r"l\^2=([\d.]+)", row.inputs)[1])): float(row.expected)
        for row in rows("diffusion")
        if row.quantity == "plane Mt/Minf"
    }
    twin, compared, before = linear_twin(FILMS), 0, 0.0
    for fo in TIMES:
        live(twin, (fo - before) * SECONDS, 300)
        before = fo
        for film, lost in zip(FILMS, share_lost(twin), strict=True):
            exact = 1.0 - plane_left(film, fo)
            assert lost == pytest.approx(exact, rel=5e-3), (film, fo)
            if (film, fo) in printed:
                assert lost == pytest.approx(printed[film, fo], rel=5e-3), (film, fo)
                compared += 1
    assert compared >= 8


def test_refining_depth_pays_with_the_second_order() -> None:
    """Twice the shells, a quarter of the error: time is made exact by Richardson's extrapolation."""
    exact = np.array([1.0 - plane_left(film, 0.2) for film in FILMS])

    def error(shells: int) -> np.ndarray:
        found = []
        for steps in (500, 1000):
            twin = linear_twin(FILMS, shells=shells, grading=2.0)
            live(twin, 0.2 * SECONDS, steps)
            found.append(share_lost(twin))
        return np.abs(2.0 * found[1] - found[0] - exact)

    order = np.log2(error(8) / error(16))
    assert np.all(order > 1.8), order
    assert np.all(order < 2.5), order


def test_shorter_steps_pay_with_the_first_order() -> None:
    """Half the step, half the error: what backward Euler promises."""
    found = []
    for steps in (100, 200, 400):
        twin = linear_twin(FILMS)
        live(twin, 0.2 * SECONDS, steps)
        found.append(share_lost(twin))
    order = np.log2((found[0] - found[1]) / (found[1] - found[2]))
    assert np.all(np.abs(order - 1.0) < 0.1), order


def test_moisture_by_depth_follows_the_series() -> None:
    """Not only the weight but where the water is: every shell and the face itself, L = 5, Fo = 0.2."""
    twin = linear_twin([5.0])
    live(twin, 0.2 * SECONDS, 1000)
    for depth, moisture in zip(twin.depth_m[:, 0], twin.moisture[:, 0], strict=True):
        exact = plane_profile(5.0, 0.2, 1.0 - depth / HALF)
        assert (moisture - BALANCE) / (START - BALANCE) == pytest.approx(exact, abs=4e-3)
    face = (twin.rind_moisture[0] - BALANCE) / (START - BALANCE)
    assert face == pytest.approx(plane_profile(5.0, 0.2, 1.0), abs=2e-3)
