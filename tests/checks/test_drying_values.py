"""Evaporation, surface temperature, water activity and breathing against worked and published values."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from monitor import air
from monitor.rind import drying, sorption
from monitor.rind.presets import PRESETS
from monitor.rind.shells import cylinder_area
from monitor.rind.twin import Twin
from monitor.rind.twin_step import DRY_PER_CO2, HEAT_PER_CO2, WATER_PER_CO2
from tests.checks.published import Row, label, rows

ROWS = rows("drying")
BARE = {"water_activity": 0.97, "heat_transfer": 5.0}


def named(start: str, count: int | None = None) -> list[Row]:
    found = [row for row in ROWS if row.quantity.startswith(start)]
    assert found if count is None else len(found) == count
    return found


@pytest.mark.parametrize("row", named("aw = 1-0.033", 2), ids=label)
def test_water_activity_by_salt(row: Row) -> None:
    """1 - 0.033 m, J. Dairy Sci. 1981."""
    salt, moisture = (float(v) / 100.0 for v in re.findall(r"([\d.]+) %", row.inputs))
    assert row.matches(float(sorption.salt_water_activity(sorption.molality(salt, moisture))))


def test_water_activity_of_unripe_and_mould_ripened_cheese() -> None:
    """The two regressions on what a laboratory reports."""
    (unripe,), (ripened,) = named("aw unripe", 1), named("aw mould-ripened", 1)
    assert unripe.matches(float(sorption.unripe_water_activity(3.0, 5.2)))
    assert ripened.matches(float(sorption.ripened_water_activity(8.0, 1.5)))


def test_cheddar_starts_at_the_published_water_activity() -> None:
    """37 % moisture and 4.5 % salt in it: 0.965 on the first day (Hickey et al. 2013); one anchor of the default."""
    (young, old) = named("water activity of Cheddar", 2)
    molality = 45.0 / 58.44
    found, _ = sorption.oswin_salt(np.array([37 / 63]), np.array([molality]), np.array([[0.128], [0.331]]))
    assert found[0] == pytest.approx(float(young.expected), abs=0.001)
    # the fall to 0.956 comes from proteolysis, which the relation leaves out
    assert float(young.expected) - float(old.expected) == pytest.approx(0.009)


def test_area_of_a_wheel() -> None:
    """A closed cylinder."""
    (row,) = named("wheel area", 1)
    assert row.matches(float(cylinder_area(row.number("D"), row.number("H"))))


def test_evaporation_without_cooling() -> None:
    """103.6 g a day and 2.97 W from the worked wheel, all its surface at the air's temperature."""
    (mass,), (power,) = named("evaporation", 1), named("latent power", 1)
    area = cylinder_area(0.28, 0.13)
    saturation = air.saturation_vapour_pressure(12.0)
    flux = 3e-8 * (0.97 * saturation - air.vapour_pressure(12.0, 85.0))
    assert mass.matches(float(flux * area * 86.4e6))
    assert power.matches(float(flux * area * drying.latent_heat(12.0)))


@pytest.mark.parametrize("row", named("latent heat", 3), ids=label)
def test_latent_heat(row: Row) -> None:
    """The straight line against CoolProp 8.0.0."""
    assert row.matches(float(drying.latent_heat(row.number("t"))) / 1000.0)


@pytest.mark.parametrize("row", named("k from Lewis", 3), ids=label)
def test_film_coefficient(row: Row) -> None:
    """Chilton and Colburn's relation at sea level."""
    assert row.matches(float(drying.film_coefficient(row.number("h"))))


def test_bare_wet_face_settles_1_15_k_below_the_air() -> None:
    """12 degC, 85 %, a_w 0.97, h = 5: 10.854 degC and 200 g/m2 a day, not 489."""
    (temperature,), (flux,) = named("wet-surface", 1), named("flux with", 1)
    (wrong,) = named("flux if", 1)
    settled = drying.surface_temperature(12.0, 85.0, **BARE)
    assert temperature.matches(settled)
    assert settled - 12.0 == pytest.approx(-1.15, abs=0.01)
    assert flux.matches(drying.evaporation(12.0, 85.0, **BARE) * 86.4e6)
    uncooled = drying.film_coefficient(5.0) * (0.97 - 0.85) * air.saturation_vapour_pressure(12.0)
    assert wrong.matches(float(uncooled) * 86.4e6)


def test_twin_with_a_bare_wet_face_settles_there_too() -> None:
    """The running twin, its rind held at a_w 0.97, comes to the same 1.15 K within two days, rind and core."""
    wet = PRESETS["bare"].with_values({"sorption": "linear", "sorption_constants": (0.97, 0.0)})
    twin = Twin([wet])
    # the speed at which the film along this wheel passes 5 W/m2/K
    forced = (5.0**3 - drying.STILL_AIR_TRANSFER**3) ** (1 / 3)
    speed = (forced / float(drying.forced_transfer(1.0, wet.diameter_m))) ** 2
    for _ in range(48):
        twin.advance(3600.0, 12.0, 85.0, speed)
    assert twin.rind_temperature_c[0] == pytest.approx(10.854, abs=0.01)
    assert twin.core_temperature_c[0] == pytest.approx(10.854, abs=0.02)
    assert twin.evaporation_kg_m2_s[0] * 86.4e6 == pytest.approx(200.0, rel=5e-3)


@pytest.mark.parametrize("row", [r for r in ROWS if "w0=" in r.inputs], ids=label)
def test_loss_by_moisture(row: Row) -> None:
    """What a fall in water content means in weight, dry matter kept (Thom & Fisk 1918)."""
    first, later = row.number("w0"), row.number("w1")
    assert row.matches(100.0 * float(sorption.loss_by_moisture(first, later)))


@pytest.mark.parametrize("row", named("Crank L", 3), ids=label)
def test_published_fit_is_limited_inside(row: Row) -> None:
    """Castell-Palou's film and diffusivity give L of 16 to 80: the rind, not the air, holds the water."""
    (film,) = named("external mass transfer", 1)
    assert row.matches(float(film.expected) * row.number("l") / 3.71e-11)


def test_breathing_makes_a_wheel_lighter_by_its_carbon() -> None:
    """102 mmol of CO2 a day cost 1.225 g: 30 g of dry matter gone and 18 g of water left for each mol."""
    (row,) = named("CO2 mass", 1)
    carbon = float(row.expected.split(";")[1])
    assert 102.0 * (DRY_PER_CO2 - WATER_PER_CO2) == pytest.approx(carbon, rel=1e-3)


def test_breathing_gives_off_its_gas_and_heat() -> None:
    """The same 102 mmol a day: 4.489 g of CO2, of which the oxygen came from the air, and 0.55 W."""
    (mass,), (heat,) = named("CO2 mass", 1), named("respiration heat", 1)
    carbon = DRY_PER_CO2 - WATER_PER_CO2
    assert 102.0 * (carbon + 0.031998) == pytest.approx(float(mass.expected.split(";")[0]), rel=1e-3)
    assert heat.matches(0.102 * HEAT_PER_CO2 / 86_400.0)


def test_mean_flux_implied_by_the_published_table() -> None:
    """10 to 26 g/m2 a day: a rinded cheddar loses twenty times less than a bare wet face."""
    for row in named("mean flux"):
        loss = float(re.search(r"loss=([\d.]+)", row.inputs)[1]) / 100.0
        area = float(cylinder_area(row.number("d"), row.number("h")))
        assert row.matches(1000.0 * row.number("m0") * loss / (area * 140.0))
    assert math.isclose(area, row.number("A"), rel_tol=1e-3)
