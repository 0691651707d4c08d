"""Water of the twin over two years of hourly air, as a law: what is there is what was there, less what left."""

from __future__ import annotations

import numpy as np

from monitor.rind.presets import PRESETS
from monitor.rind.twin import Twin

HOUR = 3600.0
TWO_YEARS = 2 * 8760


def test_water_is_conserved_over_two_years_of_hourly_air() -> None:
    """Shells, free water and what left agree to 1e-9, with dew, breathing, gaps and bare rinds among them."""
    generator = np.random.default_rng(5)
    bare = PRESETS["cloth-bound"].with_values({"wrap_resistance": 0.0})
    twin = Twin([bare, *(PRESETS[k] for k in ("cloth-bound", "natural", "washed", "bloomy"))])
    hours = np.arange(TWO_YEARS)
    celsius = 11.5 + 2.0 * np.sin(hours / 24 * 2 * np.pi) + generator.normal(0, 0.5, TWO_YEARS)
    rh = np.clip(90.0 + 8.0 * np.sin(hours / 300.0) + generator.normal(0, 3, TWO_YEARS), 0.0, 100.0)
    rh[generator.random(TWO_YEARS) < 0.01] = np.nan
    dewy = False
    for t, h in zip(celsius, rh, strict=True):
        twin.advance(HOUR, t, h, 0.2)
        dewy |= bool(np.any(twin.state.film_kg > 0.0))
    assert dewy
    assert np.all(twin.gap_s > 0.0)
    assert np.all(np.abs(twin.water_error_kg) < 1e-9 * twin.water_kg)
    assert np.all(np.abs(twin.water_error_kg) < 1e-9 * np.abs(twin.state.left_kg))
