"""Mould on rinds: where it grows, how a pace behaves, ways in for air, impossible input."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import PhysicsError
from monitor.rind import mould
from monitor.rind.species import RIND_MOULDS, SPECIES, species_named

every_species = pytest.mark.parametrize("kind", SPECIES.values(), ids=lambda kind: kind.name)


@every_species
def test_growth_is_best_at_the_optimum_and_none_outside(kind) -> None:
    """The published rate at both optima; nothing at or beyond a limit."""
    best = mould.growth_rate(kind.temperature_opt_c, kind.water_activity_opt, kind)
    assert best == pytest.approx(kind.rate_mm_per_day)
    for outside in (kind.temperature_min_c, kind.temperature_max_c, kind.temperature_max_c + 5.0):
        assert mould.growth_rate(outside, kind.water_activity_opt, kind) == 0.0
    assert mould.growth_rate(kind.temperature_opt_c, kind.water_activity_min - 0.05, kind) == 0.0


@every_species
def test_factors_stay_between_none_and_best(kind) -> None:
    """Over every temperature and water activity a sensor can report."""
    t = mould.temperature_factor(np.linspace(-40.0, 60.0, 2001), kind)
    a = mould.water_activity_factor(np.linspace(0.0, 1.0, 2001), kind)
    assert 0.0 <= t.min() <= t.max() <= 1.0
    assert 0.0 <= a.min() <= a.max() <= 1.0


@given(st.floats(0.80, 0.97), st.floats(0.001, 0.01), st.floats(2.0, 20.0))
def test_a_moister_rind_never_grows_slower_below_the_optimum(
    aw: float, more: float, temperature_c: float
) -> None:
    """For blue, up to its optimum of 0.99."""
    slow, fast = (mould.growth_rate(temperature_c, a, "Penicillium commune") for a in (aw, aw + more))
    assert fast >= slow


@given(st.floats(3.1, 22.0), st.floats(0.84, 0.99))
def test_pace_is_one_in_the_reference_climate(temperature_c: float, aw: float) -> None:
    """1.0 is as intended, wherever blue grows at all in the reference, even where it hardly does."""
    assert mould.mould_pace(temperature_c, aw, temperature_c, aw) == pytest.approx(1.0)


def test_pace_rises_with_warmth_and_moisture() -> None:
    """A cave of 11 degC and a rind at 0.92; 3 K warmer, or a rind at 0.95, grows more; drier grows less."""
    reference = 11.0, 0.92
    assert mould.mould_pace(14.0, 0.92, *reference) > 1.2
    assert mould.mould_pace(11.0, 0.95, *reference) > 1.5
    assert mould.mould_pace(11.0, 0.88, *reference) < 0.5
    assert mould.mould_pace(11.0, 0.70, *reference) == 0.0


def test_there_is_no_pace_over_a_reference_without_growth() -> None:
    """A store meant to be at 2 degC and 0.80 grows nothing: no pace, even on a warm day, and no blue index."""
    assert mould.mould_pace(2.0, 0.75, 2.0, 0.80) is None
    assert mould.mould_pace(12.0, 0.95, 2.0, 0.80) is None
    assert mould.blue_index(12.0, 0.95, 2.0, 0.80, ["cracked"]) is None
    pace = mould.mould_pace([12.0, 12.0], 0.93, [2.0, 12.0], [0.80, 0.93])
    assert np.isnan(pace[0])
    assert pace[1] == pytest.approx(1.0)


def test_pace_over_slight_growth_is_not_blown_up() -> None:
    """At 4 degC and 0.84 commune grows at a thousandth of its best: the pace is over a hundredth of it."""
    assert mould.mould_pace(4.0, 0.84, 4.0, 0.84) == 1.0
    assert 1.0 < mould.mould_pace(12.0, 0.95, 4.0, 0.84) < 100.0


def test_pace_of_one_unknown_rind_is_none() -> None:
    """A reading that is not known has no pace, rather than 0."""
    assert mould.mould_pace(None, 0.92, 11.0, 0.92) is None
    assert mould.mould_pace(11.0, math.nan, 11.0, 0.92) is None


def test_pace_of_many_places_at_once_keeps_unknown_apart() -> None:
    """Arrays in, the same shape out; an unknown rind is NaN, not 0."""
    pace = mould.mould_pace([11.0, None, 11.0], [0.92, 0.92, math.nan], 11.0, 0.92, ["Penicillium commune"])
    assert pace[0] == pytest.approx(1.0)
    assert np.isnan(pace[1:]).all()


def test_pace_adds_up_shares_of_several_moulds() -> None:
    """Where one of two cannot grow, the pace is the other's."""
    two = mould.mould_pace(4.0, 0.93, 11.0, 0.93, ["Penicillium commune", "Penicillium citrinum"])
    one = mould.mould_pace(4.0, 0.93, 11.0, 0.93, "Penicillium commune")
    assert two == pytest.approx(one)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: mould.mould_pace(11.0, 85.0, 11.0, 85.0), "water_activity 85 .* not percent"),
        (lambda: mould.mould_pace(99.0, 0.9, 11.0, 0.9), "temperature_c 99"),
        (lambda: mould.mould_pace(11.0, 0.9, 11.0, 0.9, []), "no species"),
        (lambda: mould.growth_rate(11.0, 0.9, "Penicillium imaginarium"), "is not known: expected one of"),
        (lambda: mould.cardinal_factor(10.0, 20.0, 15.0, 30.0), "must rise"),
        (lambda: mould.blue_index(11.0, 0.9, 11.0, 0.9, ["dropped"]), "way in for air 'dropped'"),
        (lambda: mould.time_to_visible(11.0, 0.9, "Cladosporium", 0.0), "radius_mm 0"),
        (lambda: dataclasses.replace(SPECIES["Cladosporium"], water_activity_min=0.99), "water activities"),
        (lambda: dataclasses.replace(SPECIES["Cladosporium"], lag_days=-1.0), "lag -1 d"),
    ],
)
def test_impossible_input_raises_and_names_it(call, named: str) -> None:
    """The error names the value and what would be possible."""
    with pytest.raises(PhysicsError, match=named):
        call()


def test_each_way_in_for_air_multiplies_the_blue_index_once() -> None:
    """A crack and an unsealed plug multiply; naming the crack twice does not; the table can be replaced."""
    sound = mould.blue_index(12.0, 0.93, 12.0, 0.93)
    opened = mould.blue_index(12.0, 0.93, 12.0, 0.93, ["cracked", "unsealed plug", "cracked"])
    assert opened == pytest.approx(sound * 2.0 * 3.0)
    assert mould.air_way_factor(["cracked"], {"cracked": 5.0}) == 5.0


def test_a_colony_is_seen_sooner_when_it_grows_faster_and_never_where_it_does_not() -> None:
    """Time to 3 mm across: radius over rate, infinite below the least water activity; a lag is added."""
    kind = species_named("penicillium  COMMUNE")
    rate = mould.growth_rate(12.0, 0.95, kind)
    assert mould.time_to_visible(12.0, 0.95, kind) == pytest.approx(1.5 / rate)
    assert mould.time_to_visible(12.0, 0.70, kind) == math.inf
    slow_starter = dataclasses.replace(kind, lag_days=0.5)
    later = mould.time_to_visible(12.0, 0.95, slow_starter)
    assert later == pytest.approx(1.5 / rate + 0.5 * kind.rate_mm_per_day / rate)


def test_colony_radius_and_time_to_visible_agree() -> None:
    """After the time to visible in steady air the radius is 1.5 mm, lag and all; before the lag is over, 0."""
    kind = dataclasses.replace(species_named("Mucor fragilis"), lag_days=0.25)
    rate = mould.growth_rate(12.0, 0.96, kind)
    days = mould.time_to_visible(12.0, 0.96, kind)
    assert mould.colony_radius(rate * days, kind) == pytest.approx(mould.VISIBLE_RADIUS_MM)
    assert mould.colony_radius([0.1 * rate * days, None], kind)[0] == 0.0
    with pytest.raises(PhysicsError, match="spread_mm -1"):
        mould.colony_radius(-1.0, kind)


def test_geotrichum_time_is_not_carried_beyond_what_was_measured() -> None:
    """Between 10 and 27 degC only."""
    assert np.isnan(mould.geotrichum_hours_to_3_mm([9.9, 27.1, None])).all()
    assert 30.7 < mould.geotrichum_hours_to_3_mm(12.0) < 52.2


@pytest.mark.parametrize("rind", RIND_MOULDS)
def test_every_rind_names_known_moulds_and_wants_none_it_does_not_want(rind: str) -> None:
    """The table of wanted and unwanted moulds fits the table of species."""
    moulds = RIND_MOULDS[rind]
    assert not set(moulds.wanted) & set(moulds.unwanted)
    assert moulds.unwanted
    for name in moulds.wanted + moulds.unwanted:
        assert species_named(name).name == name
