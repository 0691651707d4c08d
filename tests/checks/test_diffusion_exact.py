"""The reference series against the published roots and fractions, before anything is compared with the series."""

from __future__ import annotations

import re

import numpy as np
import pytest
from scipy.special import erfcx

from tests.checks.exact_diffusion import cylinder_left, cylinder_roots, plane_left, plane_profile, plane_roots
from tests.checks.published import Row, label, rows

ROWS = rows("diffusion")


def named(start: str) -> list[Row]:
    found = [row for row in ROWS if row.quantity.startswith(start)]
    assert found
    return found


@pytest.mark.parametrize("row", named("plane root") + named("cylinder root"), ids=label)
def test_roots(row: Row) -> None:
    """Roots of the series' equations to 1e-6."""
    which = int(re.search(r"beta_(\d+)", row.quantity)[1]) - 1
    roots = plane_roots if row.quantity.startswith("plane") else cylinder_roots
    assert row.matches(roots(row.number("L"), which + 1)[which])


@pytest.mark.parametrize("row", named("plane Mt") + named("cylinder Mt"), ids=label)
def test_fractions(row: Row) -> None:
    """Fractions lost by sheet and cylinder to 2e-6."""
    left = plane_left if row.quantity.startswith("plane") else cylinder_left
    fo = float(re.search(r"l\^2=([\d.]+)", row.inputs)[1])
    assert row.matches(1.0 - left(row.number("L"), fo))


@pytest.mark.parametrize("row", named("plane (C-C2)"), ids=label)
def test_profile(row: Row) -> None:
    """Moisture at the middle and at the face of a sheet."""
    place = 0.0 if "centre" in row.quantity else 1.0
    assert row.matches(plane_profile(row.number("L"), row.number("Fo"), place))


@pytest.mark.parametrize("row", named("wheel"), ids=label)
def test_wheel(row: Row) -> None:
    """The product of sheet and cylinder."""
    radius, height, seconds = row.number("R"), row.number("H"), row.number("t") * 86_400.0
    diffusivity = 2e-11
    assert "D=2e-11" in row.inputs
    film = float(re.search(r"L\(plane\)=([\d.]+)", row.inputs)[1])
    left = plane_left(film, diffusivity * seconds / (0.5 * height) ** 2)
    left *= cylinder_left(film * radius / (0.5 * height), diffusivity * seconds / radius**2)
    assert row.matches(1.0 - left)


def test_brick() -> None:
    """Three sheets make a block of cheese."""
    (row,) = named("brick")
    dt = 7.8e-12 * 60 * 86_400.0
    left = plane_left(1e4, dt / 0.07**2) ** 2 * plane_left(1e4, dt / 0.045**2)
    assert row.matches(1.0 - left)


@pytest.mark.parametrize("row", named("semi-infinite"), ids=label)
def test_semi_infinite(row: Row) -> None:
    """Early times, before the middle of the wheel takes part."""
    x = float(re.search(r"=?([\d.]+)(?:;|$)", row.inputs.replace("X=h sqrt(D t)=", ""))[1].lstrip("="))
    if "surface" in row.quantity:
        assert row.matches(float(erfcx(x)))
    else:
        assert row.matches(float(erfcx(x) - 1.0 + 2.0 * x / np.sqrt(np.pi)))
