"""A room with a cloth-bound style, and moments of its air, for tests of the rules."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from monitor import air
from monitor.clock import TEN_MINUTES_MS, parse_rfc3339, to_ms
from monitor.records import AirRecord, Contents
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
