"""The simulated rooms against hand calculation, conservation, and published salt humidities."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.air import saturation_vapour_pressure
from sensors_sim.activity import ActivityPlanner, DayPlan
from sensors_sim.constants import heat_coefficient, vapour_transfer
from sensors_sim.room import Outside, Room, WheelLoad
from sensors_sim.saturation import saturation, saturation_and_slope
from sensors_sim.scenario import Room as RoomSettings

NO_FAULTS: dict[str, float] = {}


def room_settings(**keys: object) -> RoomSettings:
    return RoomSettings.model_validate({"id": "r", "places": [{"id": "middle"}], **keys})


def outside(steps: int, temperature_c: float, vapour_pa: float, boundary_c: float | None = None) -> Outside:
    boundary = temperature_c if boundary_c is None else boundary_c
    return Outside([temperature_c] * steps, [vapour_pa] * steps, [boundary] * steps)


def sixty_wheels(activity: float = 0.93) -> WheelLoad:
    area, h = 60 * 0.30, heat_coefficient(0.1)
    return WheelLoad(h * area, vapour_transfer(h, 101325.0) * area, 4e5, 2.6e6, 250.0, activity, 6.0)


ROOMS = {
    "cave": room_settings(kind="cave"),
    "cold-room": room_settings(
        kind="cold-room",
        coil={"setpoint_c": 3.0, "evaporating_below_setpoint_k": 9.0, "defrost_every": "2 h"},
    ),
    "cellar": room_settings(kind="cellar", humidifier={"setpoint_rh_pct": 93.0}),
}


@pytest.mark.parametrize("kind", ROOMS)
def test_heat_and_water_close_over_a_busy_week(kind: str) -> None:
    """What is stored is what came in less what went out, to 1e-6 of what passed, in a week of doors and frost."""
    settings_, room = ROOMS[kind], Room(ROOMS[kind])
    room.put_wheels(sixty_wheels())
    heat, water = room.stored_heat_j() - room.heat_in_j(), room.stored_water_kg() - room.water_in_kg()
    steps = 7 * 1440
    plan = ActivityPlanner(5, settings_, 0.0).plan(0.0, steps, 60.0)
    faults = [{"door ajar": 1.0} if 3000 < i < 3300 else NO_FAULTS for i in range(steps)]
    room.run(60.0, outside(steps, 17.0, 1700.0), plan, faults)
    passed_j = sum(abs(s.boundary_j) + abs(s.extra_j) + abs(s.evaporated_kg) * 2.5e6 for s in room.surfaces)
    passed_kg = sum(abs(s.evaporated_kg) for s in room.surfaces)
    assert passed_kg > 1.0
    assert abs(room.stored_heat_j() - room.heat_in_j() - heat) < 1e-6 * passed_j
    assert abs(room.stored_water_kg() - room.water_in_kg() - water) < 1e-6 * passed_kg
    if room.plant:
        assert room.plant.surface.drained_kg > 0.1, "the coil was meant to condense and drain"


def test_frost_forms_and_melts_without_losing_heat_or_water() -> None:
    """A coil well under 0 degC frosts, defrosts drain it, and both books still close."""
    room = Room(ROOMS["cold-room"])
    room.put_wheels(sixty_wheels(0.97))
    heat, water = room.stored_heat_j() - room.heat_in_j(), room.stored_water_kg() - room.water_in_kg()
    frost = 0.0
    for _ in range(240):
        room.run(60.0, outside(12, 20.0, 1500.0), DayPlan.quiet(12), [NO_FAULTS] * 12)
        assert room.plant is not None
        frost = max(frost, room.plant.frost_kg)
    assert frost > 0.05
    assert room.plant is not None
    assert room.plant.surface.drained_kg > 0.5
    assert abs(room.stored_heat_j() - room.heat_in_j() - heat) < 1.0
    assert abs(room.stored_water_kg() - room.water_in_kg() - water) < 1e-9


def test_wheels_share_exactly_what_the_room_evaporated() -> None:
    """The integrals handed to the wheels give back the water that the room took from them, fan running or not."""
    room, load = Room(ROOMS["cold-room"]), sixty_wheels()
    room.put_wheels(load)
    faults = [{"fan stopped": 1.0} if i > 300 else NO_FAULTS for i in range(600)]
    room.run(60.0, outside(600, 14.0, 900.0), DayPlan.quiet(600), faults)
    saturation_s, vapour_s, exposed_s = room.take_exchange()
    shared = load.transfer_kg_s_pa * (load.activity * saturation_s - vapour_s - load.offset_pa * exposed_s)
    assert room.wheels is not None
    assert shared == pytest.approx(room.wheels.evaporated_kg, rel=1e-9)


def test_steady_temperature_of_an_empty_cellar_agrees_with_hand_calculation() -> None:
    """Walls at 12 degC outside, air changing with 2 degC air: UA and ventilation in balance give the air's temperature."""
    envelope = {"moisture": "film", "air_changes_per_h": 2.0}
    room = Room(room_settings(kind="cellar", envelope=envelope, initial_rh_pct=40.0))
    steps = 300
    room.run(86400.0, outside(steps, 2.0, 300.0, 12.0), DayPlan.quiet(steps), [NO_FAULTS] * steps)
    e, area = room.settings.envelope, room.settings.shell_m2
    resistance = 1.0 / e.surface_coefficient_w_m2_k
    resistance += sum(e.layers_m) / e.conductivity_w_m_k - 0.5 * e.layers_m[0] / e.conductivity_w_m_k
    wall_w_k = area / resistance
    volume_flow = 2.0 * room.settings.volume_m3 / 3600.0
    vent_w_k = volume_flow * 101325.0 / (287.042 * (room.settings.envelope.ground_c + 273.15)) * 1006.0
    by_hand = (wall_w_k * 12.0 + vent_w_k * 2.0) / (wall_w_k + vent_w_k)
    assert room.air_c == pytest.approx(by_hand, abs=1e-3)
    assert room.vapour_pa == pytest.approx(300.0, abs=0.01)


def test_steady_humidity_over_a_pan_of_water_agrees_with_hand_calculation() -> None:
    """Vapour from the pan equals vapour that leaves: e = (gA es + N eo) / (gA + N) at the pan's own temperature."""
    room = Room(
        room_settings(
            kind="cold-room",
            coil={"capacity_w": 1.0, "fan_w": 0.0, "setpoint_c": 24.0},
            bath={"area_m2": 4.0},
            initial_temperature_c=12.0,
        )
    )
    steps = 200
    room.run(3600.0, outside(steps, 12.0, 700.0), DayPlan.quiet(steps), [NO_FAULTS] * steps)
    bath = next(s for s in room.surfaces if s.name == "bath")
    flow = room.settings.envelope.air_changes_per_h * room.settings.volume_m3 / 3600.0
    leaving = flow * 0.621945 / (287.042 * (12.0 + 273.15))
    by_hand = (bath.transfer * saturation(bath.temperature) + leaving * 700.0) / (bath.transfer + leaving)
    assert room.vapour_pa == pytest.approx(by_hand, rel=1e-4)
    assert bath.temperature < room.air_c, "evaporation cools the pan"


@pytest.mark.parametrize(
    ("salt", "rh_pct"), [("NaCl", 75.61), ("KCl", 85.92), ("KNO3", 95.41), ("MgCl2", 33.30)]
)
def test_a_sealed_room_with_a_salt_bath_settles_at_the_salts_humidity(salt: str, rh_pct: float) -> None:
    """At 15 degC; values of Greenspan (1977), J Res NBS 81A:89-96, by his polynomials.  Agreement 0.01 %RH."""
    sealed = {"air_changes_per_h": 0.0, "ground_c": 15.0}
    room = Room(
        room_settings(
            kind="cellar",
            envelope=sealed,
            bath={"area_m2": 2.0, "water_activity": rh_pct / 100},
            initial_temperature_c=15.0,
            initial_rh_pct=60.0,
        )
    )
    steps = 500
    room.run(86400.0, outside(steps, 15.0, 0.0), DayPlan.quiet(steps), [NO_FAULTS] * steps)
    assert room.air_c == pytest.approx(15.0, abs=0.01)
    assert room.rh_pct == pytest.approx(rh_pct, abs=0.01)


def test_an_evaporating_wet_face_takes_the_psychrometric_temperature() -> None:
    """A bare wet face in 12 degC, 85 % air, aw 0.97, h 5 W/m2K: 10.85 degC and about 200 g/m2/day by hand balance."""
    h, p = 5.0, 101325.0
    k = vapour_transfer(h, p)
    assert k == pytest.approx(3.36e-8, rel=0.005)
    vapour, face = 0.85 * saturation(12.0), 12.0
    for _ in range(200):
        face = 12.0 - 0.5 * (k * (0.97 * saturation(face) - vapour) * 2.4725e6 / h + 12.0 - face)
    assert face == pytest.approx(10.85, abs=0.03)
    assert k * (0.97 * saturation(face) - vapour) * 86400 * 1000 == pytest.approx(200, abs=5)


@settings(max_examples=60)
@given(st.floats(-39.9, 59.9))
def test_the_saturation_table_follows_its_function(temperature_c: float) -> None:
    """Reading the table by straight lines costs less than 1e-6, except in the cell of the triple point's kink."""
    value, slope = saturation_and_slope(temperature_c)
    exact = float(saturation_vapour_pressure(temperature_c))
    assert value == pytest.approx(exact, rel=1e-6 if abs(temperature_c - 0.01) > 0.02 else 1e-4)
    assert slope > 0


def test_vapour_transfer_is_proportional_to_heat_transfer() -> None:
    """Chilton and Colburn: one factor for all coefficients; thinner air at altitude carries vapour more easily."""
    assert vapour_transfer(10.0, 101325.0) == pytest.approx(2 * vapour_transfer(5.0, 101325.0))
    assert vapour_transfer(5.0, 90000.0) > vapour_transfer(5.0, 101325.0)
    assert math.isclose(heat_coefficient(0.0), 2.0)


def test_a_step_of_an_hour_ends_near_sixty_steps_of_a_minute() -> None:
    """The implicit step is stable and accurate enough at any length: temperatures within 0.1 K over a day."""
    ends = []
    for dt, steps in ((60.0, 1440), (3600.0, 24)):
        room = Room(ROOMS["cave"])
        room.put_wheels(sixty_wheels())
        room.run(dt, outside(steps, 6.0, 700.0), DayPlan.quiet(steps), [NO_FAULTS] * steps)
        ends.append((room.air_c, room.rh_pct))
    assert ends[0][0] == pytest.approx(ends[1][0], abs=0.1)
    assert ends[0][1] == pytest.approx(ends[1][1], abs=1.0)
    assert np.isfinite(ends).all()
