"""What is no number, or more than one where one is asked for, is refused in words everywhere."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from monitor import air
from monitor.errors import PhysicsError
from monitor.rind import condensation, drying, growth_limits, mites, mould_index, ripening, sorption, species
from monitor.rind.fitting import Weighing
from monitor.rind.loss_emulator import Prior
from monitor.rind.presets import PRESETS, wheel_parameters
from monitor.rind.twin import Twin

NONSENSE = [
    "cold",
    b"12",
    {},
    object(),
    True,
    1 + 2j,
    np.array(["a"]),
    [[1, 2], [3]],
    10**400,
    np.datetime64("2026-01-01"),
]
ONE: list[Callable[[object], object]] = [
    air.saturation_vapour_pressure,
    air.pressure_at_altitude,
    lambda v: air.dew_point(v, 85.0),
    lambda v: air.wet_bulb(12.0, 85.0, v),
    lambda v: air.rh_at_temperature(12.0, 85.0, v),
    drying.heat_transfer_coefficient,
    drying.film_coefficient,
    drying.latent_heat,
    lambda v: drying.drying_pace(12.0, 85.0, 12.0, v),
    sorption.salt_water_activity,
    lambda v: sorption.molality(v, 0.4),
    lambda v: sorption.unripe_water_activity(v, 5.2),
    lambda v: sorption.ripened_water_activity(3.0, v),
    lambda v: sorption.loss_by_moisture(0.55, v),
    lambda v: condensation.condenses(12.0, 85.0, v),
    mould_index.meaning,
    growth_limits.growth_limit_rh,
    ripening.activation_energy_from_q10,
    lambda v: mites.q10(0.1, v, 5.0, 15.0),
]
NAMES: list[Callable[[object], object]] = [
    lambda v: species.species_named(v),  # type: ignore[arg-type]
    lambda v: mites.mite(v),  # type: ignore[arg-type]
    lambda v: mould_index.material_class(v),  # type: ignore[arg-type]
    lambda v: wheel_parameters(v, 0.3, 0.2, 15.0),  # type: ignore[arg-type]
]


@pytest.mark.parametrize("function", ONE)
@pytest.mark.parametrize("value", NONSENSE, ids=lambda v: type(v).__name__)
def test_what_is_no_number_is_refused(function: Callable[[object], object], value: object) -> None:
    """Text, dates, ragged lists, numbers beyond all bounds."""
    with pytest.raises(PhysicsError):
        function(value)


@pytest.mark.parametrize("function", NAMES)
@pytest.mark.parametrize("value", [None, 3.5, ["sensitive"], b"x"], ids=lambda v: type(v).__name__)
def test_what_is_no_name_is_refused(function: Callable[[object], object], value: object) -> None:
    """The message lists the names there are."""
    with pytest.raises(PhysicsError, match=r"expected one of|there are"):
        function(value)


@pytest.mark.parametrize("function", [*ONE[:4], *ONE[5:8]])
def test_none_nothing_and_series_are_taken_as_they_are(function: Callable[[object], object]) -> None:
    """None is not known, an empty list has no answers, and a pandas Series is as good as an array."""
    assert np.isnan(function(None))
    assert np.shape(function([])) == (0,)
    series = pd.Series([20_000.0, None]) if function is ONE[3] else pd.Series([2.0, None])
    answer = function(series)
    assert np.isfinite(answer[0])
    assert np.isnan(answer[1])


@pytest.mark.parametrize("value", [None, "5 g", [1.0], np.nan, True])
def test_weighings_and_priors_take_numbers_only(value: object) -> None:
    """A clear error where they are written down, not in the fit."""
    with pytest.raises(PhysicsError):
        Weighing(86_400.0, 24.0, value)  # type: ignore[arg-type]
    with pytest.raises(PhysicsError):
        Prior(log_wrap=value)  # type: ignore[arg-type]


@pytest.mark.parametrize("wheels", [7, -8, [0, 7], [True], "first", 1.5])
def test_a_wheel_that_is_not_there_is_named(wheels: object) -> None:
    """Choosing, weighing and wrapping say which wheels there are."""
    twin = Twin([PRESETS["washed"]] * 2)
    for act in (twin.selected, twin.weighed, lambda w: twin.rewrap(w, 1e8)):
        with pytest.raises(PhysicsError, match="numbers from 0 to 1"):
            act(wheels)
