"""The mould index of shelves, doors and walls: growth, decline, unknown air, the two readings of the limit."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import PhysicsError
from monitor.rind import growth_limits, mould_index
from monitor.rind.mould_index import CLASSES, MouldIndex


def test_the_two_readings_differ_only_for_resistant_classes_in_the_cool() -> None:
    """At 10 degC a concrete wall needs 85 % by one reading and 82.03 % by the other; at 5 and 25 they agree."""
    floor = mould_index.critical_humidity([5.0, 10.0, 25.0], "medium resistant")
    curve = mould_index.critical_humidity([5.0, 10.0, 25.0], "medium resistant", "curve")
    assert floor == pytest.approx([88.0, 85.0, 85.0], abs=0.1)
    assert curve == pytest.approx([88.0, 82.03, 85.0], abs=0.1)


def test_a_spruce_shelf_grows_and_a_glass_door_hardly() -> None:
    """After 84 days at 12 degC and 90 %: order of the classes."""
    reached = [float(MouldIndex(name).update(12.0, 90.0, 84 * 24)[0]) for name in CLASSES]
    assert reached == sorted(reached, reverse=True)
    assert reached[0] > 2.9
    assert reached[-1] < 0.1


def test_nothing_grows_at_freezing_heat_or_below_the_limit() -> None:
    """0 degC, 50 degC, or 79 %: the index stays 0."""
    for climate in ((0.0, 99.0), (50.0, 99.0), (12.0, 79.0)):
        assert MouldIndex("very sensitive").update(*climate, 1000)[0] == 0.0


def test_dry_hours_bring_it_down_in_three_stages() -> None:
    """-0.032 a day for 6 h, nothing to 24 h, then -0.016 a day; a class may decline less."""
    wall = MouldIndex("very sensitive")
    wall.reset(2.0)
    assert wall.update(12.0, 50.0, 6)[0] == pytest.approx(2.0 - 0.008)
    assert wall.update(12.0, 50.0, 18)[0] == pytest.approx(2.0 - 0.008)
    assert wall.update(12.0, 50.0, 24)[0] == pytest.approx(2.0 - 0.024)
    slow = MouldIndex("very sensitive", decline=0.1)
    slow.reset(2.0)
    assert slow.update(12.0, 50.0, 48)[0] == pytest.approx(2.0 - 0.0024)


def test_many_surfaces_at_once_do_as_each_alone() -> None:
    """Wet, drying, warm and unknown surfaces of pine, hour by hour through a changing month."""
    t, rh = [12.0, 12.0, 22.0, None], [[96.0, 93.0, 97.0, 90.0], [96.0, 60.0, 97.0, 90.0]]
    together, alone = MouldIndex("vs", surfaces=4), [MouldIndex("vs") for _ in t]
    for hour in range(24 * 30):
        air = rh[hour // 36 % 2]
        together.update(t, air, 1)
        for number, one in enumerate(alone):
            one.update(t[number], air[number], 1)
    assert together.index == pytest.approx([one.index[0] for one in alone], rel=1e-12)
    assert together.index[2] > together.index[0] > together.index[1] > 0.0 == together.index[3]


def test_an_index_that_was_read_stays_as_it_was() -> None:
    """What was read yesterday is not changed by today's air."""
    shelf = MouldIndex("s")
    yesterday = shelf.update(12.0, 95.0, 24)
    assert shelf.update(12.0, 95.0, 24)[0] > yesterday[0] > 0.0


def test_unknown_air_holds_the_index_and_is_counted() -> None:
    """A gap of 12 h changes nothing and is not lost."""
    wall = MouldIndex("sensitive", surfaces=2)
    wall.reset([1.0, 1.5])
    wall.update([12.0, None], [95.0, 95.0], 12)
    assert wall.index[0] > 1.0
    assert wall.index[1] == 1.5
    assert wall.unknown_hours.tolist() == [0.0, 12.0]


@given(st.lists(st.tuples(st.floats(-5, 30), st.floats(40, 100), st.floats(0.1, 200)), max_size=8))
def test_the_index_stays_between_none_and_all_covered(spans) -> None:
    """0..6 whatever the air does."""
    wall = MouldIndex("very sensitive")
    for temperature_c, rh_pct, hours in spans:
        assert 0.0 <= wall.update(temperature_c, rh_pct, hours)[0] <= 6.0


@given(st.floats(2.0, 25.0), st.floats(80.0, 99.0), st.floats(0.1, 1.0))
def test_moister_air_never_grows_slower(temperature_c: float, rh_pct: float, more: float) -> None:
    """Rate of the index from a clean surface."""
    slow, fast = (mould_index.index_growth(0.0, temperature_c, rh) for rh in (rh_pct, rh_pct + more))
    assert fast >= slow


def test_impossible_input_raises_and_names_it() -> None:
    """Unknown class, reading, index and climate."""
    with pytest.raises(PhysicsError, match="material class 'cheese'"):
        MouldIndex("cheese")
    with pytest.raises(PhysicsError, match="reading 'both'"):
        MouldIndex("sensitive", reading="both")
    with pytest.raises(PhysicsError, match="index 7"):
        MouldIndex("sensitive").reset(7.0)
    with pytest.raises(PhysicsError, match="known index"):
        MouldIndex("sensitive").reset(math.nan)
    with pytest.raises(PhysicsError, match="rh_pct 120"):
        MouldIndex("sensitive").update(12.0, 120.0, 1)
    with pytest.raises(PhysicsError, match="hours -1"):
        MouldIndex("sensitive").update(12.0, 90.0, -1)
    with pytest.raises(PhysicsError, match="hours: one known number"):
        MouldIndex("sensitive").update(12.0, 90.0, math.nan)
    with pytest.raises(PhysicsError, match="temperature_c: 3 values for 2 surfaces"):
        MouldIndex("sensitive", surfaces=2).update([11.0, 12.0, 13.0], 90.0, 1)
    with pytest.raises(PhysicsError, match="surfaces 0"):
        MouldIndex("sensitive", surfaces=0)
    with pytest.raises(PhysicsError, match="decline: a known share"):
        MouldIndex("sensitive", decline=math.nan)
    with pytest.raises(PhysicsError, match=r"index 6\.5"):
        mould_index.meaning(6.5)
    with pytest.raises(PhysicsError, match="growth_mm_per_day 5"):
        growth_limits.growth_limit_rh(10.0, 5.0)


def test_unknown_climate_has_an_unknown_limit() -> None:
    """NaN in, NaN out, in every function of the index."""
    for value in (
        mould_index.critical_humidity(None),
        mould_index.greatest_index(None, 90.0),
        mould_index.greatest_index(12.0, None),
        mould_index.weeks_to_start(12.0, None),
        mould_index.index_growth(0.0, 12.0, None),
        growth_limits.linear_growth_rate(None, 90.0),
    ):
        assert math.isnan(value)


def test_growth_limits_can_be_cut_at_saturation() -> None:
    """4 mm/d would need more than 100 % at 5 degC."""
    assert growth_limits.growth_limit_rh(5.0, 4.0) > 100.0
    assert growth_limits.growth_limit_rh(5.0, 4.0, clip=True) == 100.0
    assert np.all(np.diff(growth_limits.growth_limit_rh([5.0, 12.0, 20.0])) < 0)
