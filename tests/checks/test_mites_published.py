"""Every published value of mites in data/mites.csv."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import pytest

from monitor.rind import mites
from tests.checks.published import Row, label, rows

FULL_NAMES = {
    "A. siro": "Acarus siro",
    "A. ovatus": "Acarus ovatus",
    "T. putrescentiae": "Tyrophagus putrescentiae",
    "T. similis": "Tyrophagus similis",
}


def rate(row: Row) -> float:
    """The rate of the mite named, at the row's temperature and 85 %."""
    full = next(full for short, full in FULL_NAMES.items() if row.quantity.startswith(short))
    celsius = re.search(r"(?:T=)?([\d.]+)(?: degC)?", row.inputs)
    assert celsius
    return mites.growth_rate(float(celsius[1]), 85.0, full)


def doubling(row: Row) -> float:
    """Doubling time at the row's temperature, or of its rate."""
    if "r=" in row.inputs:
        return mites.doubling_time(row.number("r"))
    return mites.doubling_time(mites.growth_rate(row.number("T"), 85.0, "Tyrophagus similis"))


def computed_by(row: Row) -> Callable[[Row], float] | None:
    """What computes the row; None for statements that are carried as limits below."""
    if row.quantity.endswith("r_m"):
        return rate
    if row.quantity.startswith("ln(R0)/Tgen"):
        return lambda row: mites.rate_from_life_table(row.number("R0"), row.number("Tgen"))
    if "doubling time" in row.quantity:
        return doubling
    if "Q10" in row.quantity:
        return lambda row: mites.q10(0.051, 0.127, 10.0, 20.0)
    return None


NUMBERS = [row for row in rows("mites") if computed_by(row)]


@pytest.mark.parametrize("row", NUMBERS, ids=label)
def test_published_value_of_mites_is_reproduced(row: Row) -> None:
    """Each rate and time comes out within its own tolerance."""
    compute = computed_by(row)
    assert compute
    computed = compute(row)
    if row.tolerance == "published":
        assert computed == float(row.expected)
    else:
        assert row.matches(computed), f"{computed} is not {row.expected}, {row.source}"


def test_the_rest_of_the_table_is_carried_as_limits() -> None:
    """Thresholds, mortality and lethal heat stand in the code as published."""
    carried = {row.quantity for row in rows("mites")} - {row.quantity for row in NUMBERS}
    assert len(carried) == 5
    for name in ("Acarus siro", "Acarus ovatus", "Tyrophagus putrescentiae"):
        assert mites.mite(name).lower_limit_c == 10.2
    assert mites.A_FARRIS_LARVAL_MORTALITY_PCT[7.0] == 81.7
    assert mites.LETHAL_HEAT_HOURS == {35.0: 10.0, 40.0: pytest.approx(35 / 60)}


def test_no_mite_multiplies_at_70_percent() -> None:
    """At 25 degC and 70 % no immature A. farris or T. putrescentiae survived (Sanchez-Ramos et al. 2007)."""
    assert mites.growth_rate(25.0, 70.0, "Tyrophagus putrescentiae") == 0.0


def test_flour_mite_lives_on_cheddar_in_a_maturing_room() -> None:
    """Acarus siro completes its life at 11-13 degC, 85-88 % (J. Stored Prod. Res. 1983): the rate is above 0."""
    for climate in ((11.0, 85.0), (13.0, 88.0)):
        assert mites.growth_rate(*climate, "Acarus siro") > 0.0


def test_tyrophagus_about_doubles_its_rate_from_80_to_90_percent() -> None:
    """Sanchez-Ramos et al. 2007."""
    low, high = mites.growth_rate([20.0, 20.0], [80.0, 90.0])
    assert high / low == pytest.approx(2.0)
    assert not math.isnan(high)
