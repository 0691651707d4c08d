"""A room with a cloth-bound style, and moments of its air, for tests of the rules."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from monitor import air
from monitor.climate.sensor_watch import SensorState
from monitor.clock import TEN_MINUTES_MS, parse_rfc3339, to_ms
from monitor.records import AirRecord, Contents, Reading, RindNow
from monitor.rules.moment import Moment
from monitor.site import Site, check_text
from tests.test_site import GOOD

START = to_ms(parse_rfc3339("2026-03-01T06:00:00Z"))
MINUTE = 60_000
WHEELS = tuple(f"clothed-{number:02}" for number in range(41))
OLD = (Contents("vault", "low-rack", "clothed", "old", WHEELS),)
"""41 wheels whose stage wants 9 to 12 degC and 80 to 88 %; intended: 10.5 degC, 84 %."""


def make_site(**changes: str) -> Site:
    text = GOOD
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    site, faults = check_text(text, Path("site.toml"))
    assert site is not None, faults
    return site


def record(
    minute: float, temperature_c: float | None = 10.5, rh_pct: float | None = 84.0, place: str = "low-rack"
) -> AirRecord:
    """The air record of the slot that a minute falls in."""
    known = temperature_c is not None and rh_pct is not None
    start = START + int(minute * MINUTE) // TEN_MINUTES_MS * TEN_MINUTES_MS
    return AirRecord(
        room="vault",
        place=place,
        start_ms=start,
        temperature_c=temperature_c,
        temperature_min_c=temperature_c,
        temperature_max_c=temperature_c,
        rh_pct=rh_pct,
        rh_min_pct=rh_pct,
        rh_max_pct=rh_pct,
        coverage=1.0 if known else 0.0,
        dew_point_c=air.dew_point(temperature_c, rh_pct) if known else None,
        vapour_pressure_deficit_pa=air.vapour_pressure_deficit(temperature_c, rh_pct) if known else None,
        temperature_sigma_k=0.3,
        rh_sigma_pct=2.0,
    )


def moment(
    site: Site, minute: float, *records: AirRecord, contents: tuple[Contents, ...] = OLD, **more: Any
) -> Moment:
    """The moment ``minute`` minutes after the start, with the sensor heard unless said otherwise."""
    now_ms = START + int(minute * MINUTE)
    given = {"last_seen": {"nv-1": now_ms}, **more}
    return Moment(now_ms, site, tuple(records), contents, **given)


def reading(minute: float, quantity: str, value: float | None, sensor: str = "nv-1") -> Reading:
    return Reading(sensor, quantity, START + int(minute * MINUTE), value)


def rind(minute: float, wheel: str, **known: Any) -> RindNow:
    """What a twin says of a wheel; an ordinary rind but for what is given."""
    ordinary: dict[str, Any] = {
        "mass_kg": 20.0,
        "mass_low_kg": 19.8,
        "mass_high_kg": 20.2,
        "water_activity": 0.93,
        "surface_temperature_c": 10.3,
        "loss_kg_per_day": 0.018,
        "cracking_index": 0.3,
        "blue_index": 0.2,
        "mite_index": 0.2,
        "free_water_hours": 0.0,
        "way_in": "cloth",
    }
    return RindNow(wheel=wheel, at_ms=START + int(minute * MINUTE), **{**ordinary, **known})


CALM_DAYS = 4.2


def calm(site: Site, days: float = CALM_DAYS) -> list[Moment]:
    """Quiet days as every room has them: half a kelvin up and down, three places, readings, a healthy sensor."""
    moments = []
    for minute in range(0, round(days * 1440), 10):
        t = 10.5 + 0.25 * math.sin(minute / 90.0)
        moments.append(_moment_of(site, minute, t, 84.0, t + 0.2, {}, SensorState("nv-1")))
    return moments


def trouble(site: Site, hours: int = 46) -> list[Moment]:
    """Calm days, then all at once: warm, dry, then damp, still and bad air, a stuck sensor, rinds in trouble."""
    moments, begin = calm(site), round(CALM_DAYS * 1440)
    bad = {"cracking_index": 1.8, "blue_index": 1.7, "mite_index": 1.6}
    for minute in range(begin, begin + hours * 60, 10):
        since = minute - begin
        t, rh = min(18.0, 10.5 + since / 30.0), max(65.0, 84.0 - since / 12.0) if since < 1200 else 97.0
        moments.append(_moment_of(site, minute, t, rh, 12.0, bad, SensorState("nv-1", START + MINUTE)))
    return moments


def _moment_of(
    site: Site, minute: int, t: float, rh: float, t_high: float, of_rind: dict[str, Any], state: SensorState
) -> Moment:
    bad = bool(of_rind)
    hour = minute - minute % 60
    return moment(
        site,
        minute + 10,
        record(minute, t, rh),
        record(minute, t_high, rh, "high-rack"),
        record(minute, 0.4 * t + 0.6 * t_high, rh, "door"),
        record(minute, (t + t_high) / 2, rh, ""),
        readings=(
            reading(minute + 9, "temperature", t),
            reading(minute + 9, "surface_temperature", 3.0 if bad else 10.4),
            reading(minute + 9, "carbon_dioxide", 9000.0 if bad else 900.0),
            reading(minute + 9, "air_speed", 0.0 if bad else 0.12),
            reading(minute + 9, "battery_voltage", 2.1 if bad else 3.0),
            reading(minute + 9, "door_open", float(bad)),
            reading(minute + 9, "water_low", float(bad)),
        ),
        rinds={wheel: rind(hour, wheel, **of_rind) for wheel in WHEELS[:3]},
        sensors={"nv-1": state},
        **({"last_seen": {}} if bad else {}),
    )
