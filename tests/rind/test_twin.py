"""The rind twin: water conserved, the laws of direction, and what it tells of a rind."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import PhysicsError
from monitor.rind.presets import PRESETS
from monitor.rind.twin import Twin

CLOTH = PRESETS["cloth-bound"]
BARE = CLOTH.with_values({"wrap_resistance": 0.0})
HOUR, DAY = 3600.0, 86_400.0


def lived(twin: Twin, days: float, celsius: object, rh: object, step_s: float = 6 * HOUR) -> Twin:
    """Carried on through steady air, in records of this length and steps of at most an hour."""
    for _ in range(round(days * DAY / step_s)):
        twin.advance(step_s, celsius, rh, 0.2)
    return twin


PAIRS = 40
WRAPS = st.lists(st.floats(0.0, 2e9), min_size=PAIRS, max_size=PAIRS)


def pairs(wraps: list[float], more: float = 0.0) -> Twin:
    """Wheels of these wraps, then the same again with more wrap."""
    return Twin([CLOTH.with_values({"wrap_resistance": w}) for w in wraps + [w + more for w in wraps]])


def any_pairs(wraps: list[float], seed: int, longest_s: float) -> Twin:
    """Two of each: every kind of rind, diffusivities from a crust's 1e-12 to a fresh cheese's 1e-10 m2/s."""
    generator = np.random.default_rng(seed)
    kinds = list(PRESETS)
    wheels = [
        PRESETS[kinds[i % len(kinds)]].with_values(
            {"wrap_resistance": wrap, "diffusivity_m2_s": 10.0 ** generator.uniform(-12.0, -10.0)}
        )
        for i, wrap in enumerate(wraps)
    ]
    return Twin(wheels + wheels, longest_step_s=longest_s)


@settings(max_examples=12, deadline=None)
@given(
    st.floats(4.0, 20.0),
    st.floats(40.0, 97.0),
    st.floats(0.1, 15.0),
    WRAPS,
    st.sampled_from([(600.0, HOUR), (HOUR, HOUR), (6 * HOUR, HOUR), (6 * HOUR, 6 * HOUR), (DAY, DAY)]),
    st.integers(0, 1000),
)
def test_drier_air_never_gives_a_heavier_wheel(
    t: float, rh: float, less: float, wraps: list[float], steps: tuple[float, float], seed: int
) -> None:
    """At every moment of swinging air, in fog and dew too, from ten minutes to a day a step, but for rounding.

    One of each pair gets every record drier, by up to a fixed amount; wheels start warmer or colder than the air.
    """
    step_s, longest_s = steps
    generator = np.random.default_rng(seed)
    twin = any_pairs(wraps, seed, longest_s)
    for _ in range(56):
        now = np.clip(rh + generator.normal(0, 6, PAIRS), 20.0, 100.0)
        celsius = np.tile(t + generator.normal(0, 1, PAIRS), 2)
        drier = now - less * generator.random(PAIRS)
        twin.advance(step_s, celsius, np.concatenate([now, drier]), 0.2)
        damp, dry = twin.mass_kg.reshape(2, PAIRS)
        assert np.all(dry <= damp * (1.0 + 1e-12))


def test_a_wheel_once_in_drier_air_stays_the_lighter() -> None:
    """Five drier hours, then the same air with fog for both, from 12 degC wheels into a room at 18: never overtaken."""
    twin = any_pairs([0.0, 1.5e8, 8.8e8, 2e9] * (PAIRS // 4), 3, HOUR)
    fog = False
    for hour in range(240):
        rh = 84.0 + 16.0 * np.sin(2 * np.pi * hour / 48.0)
        celsius = 18.0 if hour < 120 else 8.0
        pair = np.repeat([rh, rh - (4.0 if hour < 5 else 0.0)], PAIRS)
        twin.advance(HOUR, celsius, pair, 0.2)
        fog |= bool(np.any(twin.free_water_kg_m2 > 0.0))
        damp, dry = twin.mass_kg.reshape(2, PAIRS)
        assert np.all(dry < damp)
    assert fog


@settings(max_examples=15, deadline=None)
@given(st.floats(4.0, 20.0), st.floats(30.0, 99.0), st.floats(60.0, 200_000.0), st.integers(1, 9))
def test_a_record_split_is_the_record_whole(t: float, rh: float, seconds: float, tenths: int) -> None:
    """Anywhere between whole steps: the same shells, losses and rate to guess a gap by, but for rounding."""
    step = seconds / 10.0
    kinds = list(PRESETS.values())
    whole, halves = Twin(kinds, longest_step_s=step), Twin(kinds, longest_step_s=step)
    whole.advance(seconds, t, rh)
    halves.advance(tenths * step, t, rh)
    halves.advance((10 - tenths) * step, t, rh)
    for twin in (whole, halves):
        twin.advance(step, None, None)
    for name, array in whole.state.arrays().items():
        assert np.allclose(array, halves.state.arrays()[name], rtol=1e-9, atol=1e-15), name


@pytest.mark.parametrize("step_s", [HOUR, DAY])
def test_a_fresh_bare_face_in_desert_air_never_dries_below_nothing(step_s: float) -> None:
    """From cheese to crust within one record, even of a day in one step, and with hardly any supply from inside."""
    wheels = [
        PRESETS[kind].with_values({"wrap_resistance": wrap, "diffusivity_m2_s": diffusivity})
        for kind in PRESETS
        for wrap in (0.0, 1e7)
        for diffusivity in (1e-12, 1e-11)
    ]
    twin = Twin(wheels, longest_step_s=step_s)
    for i in range(40):
        twin.advance(step_s, 20.0, (20.0, 80.0)[i % 4 == 3], 0.3)
        assert np.all(twin.moisture > 0.0)
        assert np.all(np.abs(twin.water_error_kg) < 1e-12)


@settings(max_examples=10, deadline=None)
@given(st.floats(4.0, 20.0), st.floats(50.0, 93.0), WRAPS, st.floats(1e7, 5e9))
def test_thicker_wrap_never_dries_faster(t: float, rh: float, wraps: list[float], more: float) -> None:
    """Over five days of the same air."""
    loss = lived(pairs(wraps, more), 5, t, rh).loss_kg
    assert np.all(loss[PAIRS:] < loss[:PAIRS])


@settings(max_examples=10, deadline=None)
@given(st.floats(2.0, 16.0), st.floats(50.0, 90.0), st.floats(0.5, 6.0), WRAPS)
def test_warmer_at_equal_humidity_dries_faster(t: float, rh: float, more: float, wraps: list[float]) -> None:
    """Over five days, wheels starting at their air's temperature."""
    twin = pairs(wraps)
    air_c = np.repeat([t, t + more], PAIRS)
    twin.state.surface_c, twin.state.core_c = air_c.copy(), air_c.copy()
    loss = lived(twin, 5, air_c, rh).loss_kg
    assert np.all(loss[PAIRS:] > loss[:PAIRS])


def test_smaller_wheels_lose_a_larger_share() -> None:
    """More surface for each kilogram: a 5.7 kg wheel beside one of 25 kg."""
    small = CLOTH.with_values({"diameter_m": 0.1524, "height_m": 0.3048, "mass_kg": 5.67})
    share = lived(Twin([CLOTH, small]), 20, 12.0, 82.0).loss_fraction
    assert share[1] > 1.3 * share[0]


def test_wheels_do_not_feel_each_other() -> None:
    """Alone or among a thousand others of other kinds, a wheel ends at the same mass to the last digits."""
    kinds = [PRESETS[k] for k in PRESETS]
    many = lived(Twin([kinds[i % 5] for i in range(1500)]), 5, 12.0, np.linspace(70, 95, 1500))
    for i in (0, 701, 1498):
        alone = lived(Twin([kinds[i % 5]]), 5, 12.0, float(np.linspace(70, 95, 1500)[i]))
        assert many.mass_kg[i] == pytest.approx(alone.mass_kg[0], rel=1e-13)


def test_rind_dries_toward_the_air_while_the_core_stays_moist() -> None:
    """After two bare months at 60 %: the face nears the room's humidity, the middle has not noticed."""
    twin = lived(Twin([BARE]), 60, 12.0, 60.0, HOUR)
    assert twin.rind_water_activity[0] == pytest.approx(0.62, abs=0.03)
    assert twin.moisture[-1, 0] == pytest.approx(CLOTH.initial_moisture, rel=1e-3)
    assert np.all(np.diff(twin.moisture[:, 0]) > -1e-12)
    assert twin.moisture_gradient[0] > 0.0


def test_dry_bare_rind_strains_more_than_a_wrapped_one() -> None:
    """The cracking index tells them apart, and an even wheel has none."""
    twin = Twin([BARE, CLOTH])
    assert np.allclose(twin.cracking_index, 0.0, atol=1e-12)
    index = lived(twin, 30, 12.0, 70.0).cracking_index
    assert index[0] > 1.0 > index[1] > 0.0
    assert np.allclose(twin.cracking_strain, 0.05 * index)


def test_warm_damp_air_lays_free_water_on_a_cold_wheel() -> None:
    """A door open to 20 degC and 90 % over wheels at 8: dew within the hour; back in dry air it goes."""
    twin = lived(Twin([CLOTH], start_temperature_c=8.0), 2, 8.0, 88.0, HOUR)
    assert twin.free_water_kg_m2[0] == 0.0
    twin.advance(HOUR, 20.0, 90.0, 0.2)
    assert twin.free_water_kg_m2[0] > 0.005
    assert twin.rind_water_activity[0] == 1.0
    assert twin.evaporation_kg_m2_s[0] < 0.0
    lived(twin, 2, 12.0, 75.0, HOUR)
    assert twin.free_water_kg_m2[0] == 0.0
    assert abs(twin.water_error_kg[0]) < 1e-9


def test_dry_rind_drinks_the_dew_on_it() -> None:
    """A rind dried for a month takes part of the dew in; a fresh one, full, does not."""
    dry = lived(Twin([BARE], start_temperature_c=8.0), 30, 8.0, 60.0, HOUR)
    before = dry.moisture[0, 0]
    dry.advance(HOUR, 20.0, 95.0, 0.2)
    assert dry.moisture[0, 0] > before + 0.01
    assert abs(dry.water_error_kg[0]) < 1e-9


def test_breathing_rind_loses_carbon_and_warms() -> None:
    """In saturated air a washed wheel still gets lighter, by 0.012 kg for each mol, and keeps a little warmer."""
    breathing = PRESETS["washed"].with_values({"respiration_mol_kg_day": 0.01})
    still = breathing.with_values({"respiration_mol_kg_day": 0.0})
    twin = lived(Twin([breathing, still]), 10, 12.0, 97.0, HOUR)
    mol = 0.01 * 2.0 * 10
    warmth = twin.rind_temperature_c[0] - twin.rind_temperature_c[1]
    assert warmth > 0.01
    assert twin.state.burnt_kg[0] == pytest.approx(0.030026 * mol, rel=0.05)
    assert twin.loss_kg[0] > twin.loss_kg[1]


def test_core_follows_the_air_with_a_lag() -> None:
    """A 25 kg wheel moved from 12 to 8 degC: an hour later its inside has hardly noticed, in three days it has."""
    twin = Twin([CLOTH])
    lived(twin, 1 / 24, 8.0, 85.0, 600.0)
    assert twin.rind_temperature_c[0] < twin.core_temperature_c[0]
    assert 11.0 < twin.core_temperature_c[0] < 12.0
    lived(twin, 3, 8.0, 85.0, HOUR)
    assert twin.core_temperature_c[0] == pytest.approx(8.0, abs=0.5)


def test_lifting_the_cloth_speeds_drying_from_then_on() -> None:
    """Only the wheel named, and the change is kept with it."""
    twin = lived(Twin([CLOTH] * 2), 10, 12.0, 80.0)
    twin.rewrap([1], 0.0)
    before = twin.loss_kg
    gained = lived(twin, 10, 12.0, 80.0).loss_kg - before
    assert gained[1] > 2.0 * gained[0]
    assert twin.parameters[1].wrap_resistance == 0.0


def test_ten_minute_and_hourly_records_come_to_the_same() -> None:
    """Six records of ten minutes or one of an hour: the same week to 0.3 % of the loss."""
    fine, coarse = Twin([CLOTH, BARE]), Twin([CLOTH, BARE])
    lived(fine, 7, 12.0, 80.0, 600.0)
    lived(coarse, 7, 12.0, 80.0, HOUR)
    assert coarse.loss_kg == pytest.approx(fine.loss_kg, rel=3e-3)


@pytest.mark.parametrize("rh", [0.0, 5.0, 100.0])
def test_extreme_air_stays_finite(rh: float) -> None:
    """Desert and fog, bare and long: no NaN, no negative water, no lost gram."""
    twin = lived(Twin([BARE, PRESETS["bloomy"]], longest_step_s=6 * HOUR), 60, 30.0, rh)
    assert np.all(np.isfinite(twin.mass_kg))
    assert np.all(twin.moisture > 0.0)
    assert np.all((twin.rind_water_activity >= 0.0) & (twin.rind_water_activity <= 1.0))
    assert np.all(np.abs(twin.water_error_kg) < 1e-9 * twin.water_kg)


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        ((HOUR, 12.0, 101.0), "rh_pct"),
        ((HOUR, 12.0, -0.5), "rh_pct"),
        ((HOUR, 61.0, 85.0), "temperature_c"),
        ((HOUR, -41.0, 85.0), "temperature_c"),
        ((HOUR, 12.0, 85.0, -1.0), "air_speed_m_s"),
        ((0.0, 12.0, 85.0), "seconds"),
        ((float("nan"), 12.0, 85.0), "seconds"),
        ((HOUR, [12.0, 12.0, 12.0], 85.0), "shape"),
        ((HOUR, "cold", 85.0), "numbers are expected"),
        ((HOUR, float("inf"), 85.0), "temperature_c"),
    ],
)
def test_impossible_air_is_refused_and_changes_nothing(arguments: tuple, word: str) -> None:
    """The message names what is wrong, and the wheels stand as they were."""
    twin = lived(Twin([CLOTH] * 2), 1, 12.0, 85.0)
    before = twin.to_bytes()
    with pytest.raises(PhysicsError, match=word):
        twin.advance(*arguments)
    assert twin.to_bytes() == before


def test_impossible_builds_are_refused() -> None:
    """Too few shells, a pressure in hPa, or a number that is none: no twin, rather than one full of NaN."""
    for name, value in (
        ("shells", 2),
        ("shells", 24.5),
        ("pressure_pa", 1013.0),
        ("pressure_pa", float("nan")),
        ("start_temperature_c", float("nan")),
        ("start_temperature_c", 61.0),
        ("start_temperature_c", "cold"),
        ("grading", float("nan")),
        ("longest_step_s", 0.0),
    ):
        with pytest.raises(PhysicsError, match=name):
            Twin([CLOTH], **{name: value})
