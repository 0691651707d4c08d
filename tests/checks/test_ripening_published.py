"""Every published value of ripening kinetics in data/ripening.csv, and salts in data/salts.csv."""

from __future__ import annotations

import re

import numpy as np
import pytest

from monitor import salts
from monitor.rind import ripening
from tests.checks.published import Row, label, rows

RIPENING = rows("ripening")
SALTS = rows("salts")
POLYNOMIALS = [row for row in SALTS if "polynomial" in row.quantity]
TABLES = [row for row in SALTS if "table" in row.quantity]


@pytest.mark.parametrize("row", [r for r in RIPENING if "kinetic" in r.quantity], ids=label)
def test_mean_kinetic_temperature_is_reproduced(row: Row) -> None:
    """Equal times at each temperature, dH/R = 10,000 K."""
    found = re.search(r"t=([\d./]+) degC", row.inputs)
    assert found
    computed = ripening.mean_kinetic_temperature([float(x) for x in found[1].split("/")])
    assert row.matches(computed), f"{computed} is not {row.expected}"


@pytest.mark.parametrize("row", [r for r in RIPENING if "Q10" in r.quantity], ids=label)
def test_activation_energy_from_q10_is_reproduced(row: Row) -> None:
    """Ea that a Q10 means between 5 and 15 degC [kJ/mol]."""
    assert row.matches(ripening.activation_energy_from_q10(row.number("Q10")) / 1000.0)


@pytest.mark.parametrize(
    ("rates", "expected_kj"),
    [((2.1, 4.0, 4.0, 20.0), 27.20), ((1.06, 1.88, 7.0, 20.0), 30.10), ((0.62, 2.22, 4.0, 18.0), 61.13)],
)
def test_activation_energy_of_salt_diffusion(rates: tuple[float, ...], expected_kj: float) -> None:
    """Two-point Arrhenius on Floury et al. 2010, Dairy Sci. Technol. 90:477, Table II, within 0.02 kJ/mol."""
    energy = ripening.activation_energy_from_rates(*rates) / 1000.0
    assert energy == pytest.approx(expected_kj, abs=0.02)


def test_mean_kinetic_temperature_agrees_with_its_definition() -> None:
    """The rate at MKT is the mean of the rates, for any activation energy."""
    temperatures = np.array([6.0, 11.0, 13.5, 9.0])
    kinetic = ripening.mean_kinetic_temperature(temperatures, activation_energy=61_000.0)
    assert ripening.rate_factor(kinetic, 10.0) == pytest.approx(
        ripening.rate_factor(temperatures, 10.0).mean()
    )


@pytest.mark.parametrize("row", POLYNOMIALS + TABLES, ids=label)
def test_salt_fixed_point_is_reproduced(row: Row) -> None:
    """Greenspan 1977 within 0.02 % RH, rounded as printed."""
    salt = row.quantity.split()[1]
    assert salts.fixed_point_rh(salt, row.number("t")) == pytest.approx(float(row.expected), abs=0.02)


def test_salt_uncertainty_is_carried() -> None:
    """The stated uncertainty of KCl at 10 degC is 0.39 % RH (from memory)."""
    assert salts.fixed_point_uncertainty("KCl", 10.0) == pytest.approx(0.39)


def test_two_point_gain_is_reproduced() -> None:
    """Raw 77.2 over NaCl (75.61) and 94.0 over K2SO4 (97.89) at 15 degC: gain 1.326190 (arithmetic)."""
    (row,) = [row for row in SALTS if row.quantity == "two-point gain"]
    calibration = salts.two_point_calibration(77.2, 75.61, 94.0, 97.89)
    assert row.matches(calibration.gain)
    assert calibration.apply(77.2) == pytest.approx(75.61)
    assert calibration.apply(94.0) == pytest.approx(97.89)
