"""Water activity from moisture and salt."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import PhysicsError
from monitor.rind import sorption

CONSTANTS = np.array(sorption.OSWIN_CHEESE)[:, None]


def oswin(moisture: float, molality: float) -> tuple[float, float]:
    activity, slope = sorption.oswin_salt(np.array([moisture]), np.array([molality]), CONSTANTS)
    return float(activity[0]), float(slope[0])


def test_dry_rind_is_as_dry_as_published() -> None:
    """A Dutch-type rind of 11-17 % moisture has a_w about 0.6 (Acta Univ. Agric. Silvic. Mendel. Brun. 59/5)."""
    salt = 0.045 * 37 / 63 / 0.05844  # per kg of dry matter
    for moisture, low, high in ((0.11, 0.25, 0.6), (0.17, 0.6, 0.85)):
        dry_basis = moisture / (1 - moisture)
        assert low <= oswin(dry_basis, salt / dry_basis)[0] <= high


@given(st.floats(0.01, 3.0), st.floats(1e-4, 0.5), st.floats(0.0, 6.0))
def test_wetter_never_means_a_lower_activity(moisture: float, more: float, molality: float) -> None:
    """And it stays within 0 and 1."""
    dry, wet = oswin(moisture, molality)[0], oswin(moisture + more, molality)[0]
    assert 0.0 <= dry <= wet <= 1.0


@given(st.floats(0.05, 2.0), st.floats(0.0, 6.0))
def test_slope_is_that_of_the_curve(moisture: float, molality: float) -> None:
    """The twin's Newton steps rely on it."""
    step = 1e-5 * moisture
    numeric = (oswin(moisture + step, molality)[0] - oswin(moisture - step, molality)[0]) / (2 * step)
    assert oswin(moisture, molality)[1] == pytest.approx(numeric, rel=1e-4, abs=1e-9)


def test_above_saturation_more_salt_changes_nothing() -> None:
    """It lies as crystals."""
    assert sorption.salt_water_activity(7.0) == sorption.salt_water_activity(sorption.SATURATED_MOLALITY)


def test_less_than_no_salt_is_refused() -> None:
    """Negative molality names itself."""
    with pytest.raises(PhysicsError, match="molality"):
        sorption.salt_water_activity(-0.1)


def test_a_relation_may_be_added_but_not_replaced_unawares() -> None:
    """Registering the same again is harmless; another under a taken name is refused."""
    sorption.register("linear", sorption.linear)
    with pytest.raises(PhysicsError, match="exists already"):
        sorption.register("linear", sorption.oswin_salt)
