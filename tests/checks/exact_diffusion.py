"""The exact series for drying through a surface film, and twins brought into the state that the series describe.

Series from Crank 1975, The Mathematics of Diffusion, ch. 4 and 5 (from memory): a plane sheet of half
thickness l, a cylinder of radius l, L = k l/D, Fo = D t/l2. A wheel is the product of both.
"""

from __future__ import annotations

import functools

import numpy as np
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

from monitor import air
from monitor.rind.presets import RindParameters
from monitor.rind.twin import Twin

TERMS = 400
DRY_DIFFUSIVITY = 1e-14
SLOPE = 0.5
START, BALANCE = 2.0 / 3.0, 0.8 / 3.0
"""Moisture at the start, and in balance with the air of 70 % under a_w = 0.9 + 0.5 (X - 2/3) [kg/kg]."""


@functools.cache
def plane_roots(film: float, count: int = TERMS) -> np.ndarray:
    """Positive roots of b tan b = L."""
    return np.array(
        [
            brentq(
                lambda b: b * np.sin(b) - film * np.cos(b),
                i * np.pi + 1e-12,
                (i + 0.5) * np.pi + 1e-9,
                xtol=1e-13,
            )
            for i in range(count)
        ]
    )


@functools.cache
def cylinder_roots(film: float, count: int = TERMS) -> np.ndarray:
    """Positive roots of b J1(b) = L J0(b)."""
    high, low = jn_zeros(0, count), np.concatenate([[0.0], jn_zeros(1, count)])
    return np.array(
        [
            brentq(lambda b: b * j1(b) - film * j0(b), low[i] + 1e-12, high[i], xtol=1e-13)
            for i in range(count)
        ]
    )


def plane_left(film: float, fo: float) -> float:
    """Share of the removable water still in a sheet."""
    b = plane_roots(film)
    return float(np.sum(2.0 * film**2 * np.exp(-(b**2) * fo) / (b**2 * (b**2 + film**2 + film))))


def cylinder_left(film: float, fo: float) -> float:
    """Share of the removable water still in an endless cylinder."""
    b = cylinder_roots(film)
    return float(np.sum(4.0 * film**2 * np.exp(-(b**2) * fo) / (b**2 * (b**2 + film**2))))


def plane_profile(film: float, fo: float, place: float) -> float:
    """(C - C2)/(C0 - C2) at x/l in a sheet."""
    b = plane_roots(film)
    return float(
        np.sum(2.0 * film * np.cos(b * place) * np.exp(-(b**2) * fo) / ((b**2 + film**2 + film) * np.cos(b)))
    )


def linear_twin(
    films: list[float],
    half_height_m: float = 0.0635,
    radius_m: float = 0.1875,
    *,
    edges: str = "sealed",
    shells: int = 24,
    grading: float = 3.5,
) -> Twin:
    """Wheels with straight sorption, one diffusivity, and L (on the half height) set by their wrap.

    Wraps are so tight that evaporating does not cool the surface by more than 1e-3 K.
    """
    volume = np.pi * radius_m**2 * 2.0 * half_height_m
    mass = 1080.0 * volume
    dry_density = mass * 0.6 / volume
    saturation = air.saturation_vapour_pressure(12.0)
    wheels = [
        RindParameters(
            rind="straight",
            diameter_m=2.0 * radius_m,
            height_m=2.0 * half_height_m,
            mass_kg=mass,
            moisture_fraction=0.4,
            salt_fraction=0.0,
            wrap_resistance=float(
                saturation * SLOPE * half_height_m / (dry_density * DRY_DIFFUSIVITY * film)
            ),
            diffusivity_m2_s=DRY_DIFFUSIVITY,
            diffusivity_slope=0.0,
            diffusivity_activation_j_mol=0.0,
            sorption="linear",
            sorption_constants=(0.9 - SLOPE * START, SLOPE),
            edges=edges,
        )
        for film in films
    ]
    return Twin(wheels, shells=shells, grading=grading, start_temperature_c=12.0, longest_step_s=1e18)


def live(twin: Twin, seconds: float, steps: int) -> None:
    """Carry such a twin on in its steady air."""
    for _ in range(steps):
        twin.advance(seconds / steps, 12.0, 70.0)


def share_lost(twin: Twin) -> np.ndarray:
    """Share of the removable water lost."""
    dry = np.array([p.mass_kg * (1.0 - p.moisture_fraction) for p in twin.parameters])
    return twin.loss_kg / (dry * (START - BALANCE))
