"""Every published value of humid air in data/air.csv, each with its source and tolerance there."""

from __future__ import annotations

from collections.abc import Callable

import iapws
import iapws._iapws
import iapws.iapws97
import pytest

from monitor import air
from tests.checks.published import Row, label, rows


def climate(function: Callable[..., float], scale: float = 1.0, **options: object) -> Callable[[Row], float]:
    """Call a function of temperature and humidity with the row's own."""
    return lambda row: scale * function(row.number("t"), row.number("RH"), **options)


def with_pressure(
    function: Callable[..., float], scale: float = 1.0, **options: object
) -> Callable[[Row], float]:
    """The same, with the row's pressure."""
    return lambda row: scale * function(row.number("t"), row.number("RH"), row.number("p"), **options)


def by_temperature(function: Callable[..., float], **options: object) -> Callable[[Row], float]:
    """Call a function of temperature alone."""
    return lambda row: function(row.number("t"), **options)


COMPUTED_BY: dict[str, Callable[[Row], float]] = {
    "saturation vapour pressure": by_temperature(air.saturation_vapour_pressure),
    "saturation vapour pressure over water (Hyland-Wexler)": by_temperature(
        air.saturation_vapour_pressure, over="water"
    ),
    "saturation vapour pressure over ice (Hyland-Wexler)": by_temperature(
        air.saturation_vapour_pressure, over="ice"
    ),
    "saturation vapour pressure WMO Magnus, no f(p)": by_temperature(air.saturation_vapour_pressure_magnus),
    "WMO enhancement factor f(p)": lambda row: air.wmo_enhancement_factor(100.0 * row.number("p")),
    "standard atmosphere pressure": lambda row: air.pressure_at_altitude(row.number("z")),
    "humidity ratio from vapour pressure": lambda row: air.humidity_ratio_from_vapour_pressure(
        row.number("pw"), row.number("p")
    ),
    "dew point (frost point below 0)": climate(air.dew_or_frost_point),
    "wet bulb": with_pressure(air.wet_bulb),
    "wet bulb from RH": with_pressure(air.wet_bulb),
    "humidity ratio (real gas, enhanced)": with_pressure(air.humidity_ratio, 1000.0),
    "humidity ratio (no enhancement)": with_pressure(air.humidity_ratio, 1000.0, enhancement=False),
    "VPD": climate(air.vapour_pressure_deficit),
    "absolute humidity e/(Rv T), Rv=461.524": climate(air.absolute_humidity),
    "moist air density": with_pressure(air.moist_air_density),
    "surface RH of cold surface": lambda row: air.rh_at_temperature(12.0, 85.0, 9.0),
    "RH after sensible heating": lambda row: air.rh_at_temperature(10.0, 90.0, 12.0),
    "RH from wet-bulb depression": lambda row: air.rh_from_wet_bulb(row.number("t"), row.number("tw")),
    # The three below hold the yardstick itself against the printed standard, before we measure with it.
    "saturation vapour pressure over water (IAPWS-IF97)": lambda row: (
        1e6 * iapws.iapws97._PSat_T(row.number("t") + 273.15)
    ),
    "IF97 region 4 saturation temperature": lambda row: iapws.iapws97._TSat_P(row.number("p")),
    "IAPWS R14 sublimation pressure": lambda row: 1e6 * iapws._iapws._Sublimation_Pressure(row.number("T")),
}


@pytest.mark.parametrize("row", rows("air"), ids=label)
def test_published_value_of_humid_air_is_reproduced(row: Row) -> None:
    """Each printed or library value comes out within its own tolerance."""
    computed = COMPUTED_BY[row.quantity](row)
    assert row.matches(computed), f"{computed} is not {row.expected} ({row.tolerance}), {row.source}"
