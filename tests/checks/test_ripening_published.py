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
CRC = [row for row in SALTS if "CRC form" in row.quantity]
GAINS = [row for row in SALTS if row.quantity == "two-point gain"]
KINETIC = [row for row in RIPENING if "kinetic" in row.quantity]
ENERGIES = [row for row in RIPENING if "Q10" in row.quantity]


def test_every_row_is_checked_by_one_test() -> None:
    """No row of the two tables is carried without being tried."""
    assert len(RIPENING) == len(KINETIC) + len(ENERGIES) > 0
    assert len(SALTS) == len(POLYNOMIALS) + len(TABLES) + len(CRC) + len(GAINS) > 0


@pytest.mark.parametrize("row", KINETIC, ids=label)
def test_mean_kinetic_temperature_is_reproduced(row: Row) -> None:
    """Equal times at each temperature, dH/R = 10,000 K."""
    found = re.search(r"t=([\d./]+) degC", row.inputs)
    assert found
    computed = ripening.mean_kinetic_temperature([float(x) for x in found[1].split("/")])
    assert row.matches(computed), f"{computed} is not {row.expected}"


@pytest.mark.parametrize("row", ENERGIES, ids=label)
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


@pytest.mark.parametrize("row", CRC, ids=label)
def test_older_form_of_salt_fixed_point_is_reproduced(row: Row) -> None:
    """CRC Handbook, A exp(B/T), to the digits printed (the constants are from memory, the values were not)."""
    salt = row.quantity.removeprefix("ERH ").partition(",")[0]
    computed = salts.crc_fixed_point_rh(salt, row.number("t"))
    assert computed == pytest.approx(float(row.expected), abs=0.6 * row.last_digit())


@pytest.mark.parametrize("salt", salts.CRC_CONSTANTS)
def test_older_form_agrees_with_greenspan_as_far_as_it_claims(salt: str) -> None:
    """Within its claimed 2 % RH of Greenspan 1977 at 15..25 degC (not at 10, for magnesium nitrate)."""
    t = np.array([15.0, 20.0, 25.0])
    assert np.abs(salts.crc_fixed_point_rh(salt, t) - salts.fixed_point_rh(salt, t)).max() <= 2.0


def test_salt_uncertainty_is_carried() -> None:
    """The stated uncertainty of KCl at 10 degC is 0.39 % RH (from memory)."""
    assert salts.fixed_point_uncertainty("KCl", 10.0) == pytest.approx(0.39)


def test_two_point_gain_is_reproduced() -> None:
    """Raw 77.2 over NaCl (75.61) and 94.0 over K2SO4 (97.89) at 15 degC: gain 1.326190 (arithmetic)."""
    (row,) = GAINS
    calibration = salts.two_point_calibration(77.2, 75.61, 94.0, 97.89)
    assert row.matches(calibration.gain)
    assert calibration.apply(77.2) == pytest.approx(75.61)
    assert calibration.apply(94.0) == pytest.approx(97.89)
