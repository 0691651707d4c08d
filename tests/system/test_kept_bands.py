"""Bands that simulated rooms can keep follow from their air by a rule, and only ever widen a style's own."""

from __future__ import annotations

import numpy as np
import pytest

from tests.system.kept_bands import lying_places, widened
from tests.system.simulated_rooms import KEPT_BANDS, ordinary_year, style_bands

OLD, RACK = ("clothed", "old"), ("vault", "low-rack")


def test_a_damp_tail_moves_only_the_upper_limit_outwards() -> None:
    """Of 1000 half hours 15 are at 93.2 % and 5 at 99 %: the band reaches up to 93.5 %, and 99 % stays out."""
    air = np.concatenate([np.full(980, 84.0), np.full(15, 93.2), np.full(5, 99.0)])
    assert widened({OLD: (80.0, 88.0)}, {OLD: {RACK}}, {RACK: air}) == {OLD: (80.0, 93.5)}


def test_air_well_within_a_band_leaves_it_as_it_is() -> None:
    """A room at 84 % all year does not narrow 80 to 88 %."""
    air = {RACK: np.full(1000, 84.0)}
    assert widened({OLD: (80.0, 88.0)}, {OLD: {RACK}}, air) == {OLD: (80.0, 88.0)}


def test_a_stage_lies_where_its_wheels_are_at_its_age() -> None:
    """The demo's cloth-bound wheels come from the cold room at 24 days and move to the rock at 150."""
    own, begun = style_bands()
    where = lying_places(ordinary_year(1, 10, 300.0), begun)
    assert where["aldermoss", "young"] == {("cold-room", "middle"), ("cave", "mid-rack")}
    assert where["aldermoss", "maturing"] == {("cave", "mid-rack"), ("cave", "low-rack")}
    assert all(low <= own[k][0] and high >= own[k][1] for k, (low, high) in KEPT_BANDS.items())


@pytest.mark.parametrize("stage", KEPT_BANDS)
def test_kept_bands_are_wider_than_the_demos(stage: tuple[str, str]) -> None:
    """Each is there because the demo's own is left too often."""
    assert KEPT_BANDS[stage] != style_bands()[0][stage]
