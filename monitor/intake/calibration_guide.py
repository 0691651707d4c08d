"""Calibrating a sensor, step by step: which fixed point, how long, what it should read; and the entry that results.

Basis: saturated salts after Greenspan (1977, J. Res. NBS 81A:89-96), the ice point of water (0 degC in air at normal
pressure, ITS-90 within 0.01 K).  Times to wait and intervals between calibrations are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from monitor.clock import rfc3339
from monitor.errors import ReadingError, SiteFileError
from monitor.intake.calibration import drifts
from monitor.salts import GREENSPAN_POLYNOMIALS, fixed_point_rh, fixed_point_uncertainty
from monitor.site import Sensor, Site
from monitor.site.calibration_dates import due_at, last_calibration
from monitor.site.editing import Change, proposed

SALTS = {
    "KCl": "potassium chloride",
    "NaCl": "sodium chloride, cooking salt without additives",
    "K2SO4": "potassium sulphate, for rooms above 95 %",
    "MgCl2": "magnesium chloride",
}
"""Salts worth having, the nearest to maturing rooms first.  KNO3 is too unsure in the cold."""
HOURS_OVER_SALT, HOURS_IN_ICE = 24, 0.5
LARGEST_CORRECTION = {"humidity": 15.0, "temperature": 3.0}
"""A sensor further off than this is broken or wet rather than in need of calibration; common practice, no source."""


def fixed_points(temperature_c: float) -> list[dict[str, Any]]:
    """What each salt holds at a temperature: ``salt``, ``name``, ``rh_pct``, ``uncertainty_pct``.

    Raises
    ------
    PhysicsError
        A temperature outside 0 to 50 degC.
    """
    return [
        {
            "salt": salt,
            "name": name,
            "rh_pct": round(float(fixed_point_rh(salt, temperature_c)), 2),  # type: ignore[arg-type]
            "uncertainty_pct": round(float(fixed_point_uncertainty(salt, temperature_c)), 2),  # type: ignore[arg-type]
        }
        for salt, name in SALTS.items()
    ]


def guide(site: Site, sensor: Sensor, quantity: str, temperature_c: float, now: datetime) -> dict[str, Any]:
    """The ``calibration-guide`` document: what to do, what it should read, how the sensor has drifted, when it is due.

    Raises
    ------
    ReadingError
        The sensor has no such quantity, or there is no way to calibrate it here.
    PhysicsError
        A temperature outside 0 to 50 degC.
    """
    if quantity not in sensor.quantities or quantity not in LARGEST_CORRECTION:
        raise ReadingError(
            f"sensor {sensor.id}: choose from {', '.join(_able(sensor)) or 'nothing'}, not {quantity!r}"
        )
    points = fixed_points(temperature_c) if quantity == "humidity" else []
    return {
        "version": 1,
        "sensor": sensor.id,
        "quantity": quantity,
        "temperature_c": temperature_c,
        "steps": list(_humidity_steps(points, temperature_c) if points else _temperature_steps()),
        "fixed_points": points,
        "last_at": rfc3339(last_calibration(sensor, quantity)),
        "due_at": rfc3339(due_at(sensor, quantity)),
        "due": (due_at(sensor, quantity) or now) < now,
        "drifts": [
            {"at": rfc3339(d.at_ms), "after_days": round(d.days, 1), "change": round(d.change, 3)}
            for d in drifts(sensor, quantity)
        ],
    }


def _able(sensor: Sensor) -> list[str]:
    return [q for q in sensor.quantities if q in LARGEST_CORRECTION]


def _humidity_steps(points: Sequence[dict[str, Any]], temperature_c: float) -> Sequence[str]:
    first, second = points[0], points[1]
    return (
        f"Stir {first['salt']} ({first['name']}) with a little clean water to wet sand; crystals must stay visible.",
        "Put it into a small jar, hang the sensor above it without touching, and close the jar tightly.",
        f"Leave it for {HOURS_OVER_SALT} hours where the temperature hardly moves; a swing of 1 K spoils the point.",
        f"At {temperature_c:g} degC it should read {first['rh_pct']:g} % (within {first['uncertainty_pct']:g} %).",
        f"For a second point do the same with {second['salt']}: {second['rh_pct']:g} % (within {second['uncertainty_pct']:g} %).",
        "A capacitive sensor that has been above 80 % for days reads high: first let it recover as its maker tells "
        "(often some hours in warm, dry air), or its creep is calibrated in.",
        "Wear gloves and eye protection, work outside the maturing room, and keep salts and their jars away from cheese.",
    )


def _temperature_steps() -> Sequence[str]:
    return (
        "Fill an insulated jug with crushed ice of clean water and just enough water to fill the gaps.",
        "Put the sensor, in a thin watertight bag if it must stay dry, into the middle; stir now and then.",
        f"After {HOURS_IN_ICE * 60:g} minutes it should read 0.0 degC (within 0.1 K for a careful ice bath).",
        "Never put a mains-powered sensor into water; take the probe alone, or leave it to a licensed person.",
    )


def calibrations_due(site: Site, now: datetime) -> list[dict[str, Any]]:
    """Every calibration that is due: ``sensor``, ``room``, ``quantity``, ``due_at``."""
    return [
        {"sensor": sensor.id, "room": sensor.room, "quantity": quantity, "due_at": due}
        for sensor in site.sensors
        for quantity in _able(sensor)
        if (due := due_at(sensor, quantity)) is not None and due < now
    ]


def over_salts(readings: dict[str, float], temperature_c: float) -> list[tuple[float, float]]:
    """Points (read, true) [% RH] of readings over salts, by salt.

    Raises
    ------
    ReadingError
        A salt that is none of `monitor.salts.GREENSPAN_POLYNOMIALS`.
    PhysicsError
        A temperature outside 0 to 50 degC.
    """
    if unknown := sorted(set(readings) - set(GREENSPAN_POLYNOMIALS)):
        raise ReadingError(f"salt {unknown[0]!r}: choose from {', '.join(GREENSPAN_POLYNOMIALS)}")
    return [(read, round(float(fixed_point_rh(salt, temperature_c)), 3)) for salt, read in readings.items()]  # type: ignore[arg-type]


def calibration_change(
    path: Path, sensor_id: str, quantity: str, points: Sequence[tuple[float, float]], at: datetime, how: str
) -> Change:
    """The change to the site file that records a calibration; nothing is written.

    Raises
    ------
    ReadingError
        The points are none, more than two, or further off than a calibration can mend.
    SiteFileError
        No such sensor, or the file would have faults.
    """
    if not 1 <= len(points) <= 2:
        raise ReadingError(f"{len(points)} points: a calibration has one or two")
    for read, true in points:
        if abs(read - true) > LARGEST_CORRECTION.get(quantity, float("inf")):
            raise ReadingError(
                f"it read {read:g} where {true:g} is true: so far off a sensor is broken or wet; let it dry, "
                "try again, or replace it"
            )

    def edit(document: tomlkit.TOMLDocument) -> None:
        sensor = next((s for s in document.get("sensor", []) if s.get("id") == sensor_id), None)
        if sensor is None:
            raise SiteFileError(f"no sensor {sensor_id!r} in {path}")
        sensor_calibrations(sensor).append(_entry(quantity, points, at, how))

    return proposed(path, edit)


def sensor_calibrations(sensor: Table) -> AoT:
    """The list of a sensor's calibrations in a site file, made where there is none."""
    if "calibration" not in sensor:
        sensor["calibration"] = tomlkit.aot()
    found: AoT = sensor["calibration"]  # type: ignore[assignment]
    return found


def _entry(quantity: str, points: Sequence[tuple[float, float]], at: datetime, how: str) -> Table:
    entry = tomlkit.table()
    entry["quantity"] = quantity
    entry["at"] = at.replace(microsecond=0)
    entry["points"] = [[read, true] for read, true in points]
    entry["how"] = how[:300]
    return entry
