"""The drying and mould paces of what is in a room, each with the doubt that the sensors' own uncertainty gives it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from monitor import air
from monitor.records import AirRecord, Contents
from monitor.rind.drying import drying_pace
from monitor.rind.mould import mould_pace
from monitor.rind.species import RIND_MOULDS
from monitor.rules.base import stage_of
from monitor.site import Room, Site

Pace = tuple[float, float, float]
"""Value, and the low and high end of its 90 % interval."""

NINETY_PCT = 1.645
"""Half-width of a 90 % interval of a normal distribution, in standard deviations."""


@dataclass(frozen=True)
class ContentsPaces:
    """The paces of one entry of a room's contents; None where they cannot be told."""

    contents: Contents
    drying: Pace | None
    mould: Pace | None


def paces(site: Site, room: Room, record: AirRecord, contents: Iterable[Contents]) -> dict[str, Pace | None]:
    """The paces of a room for a glance: those of the contents furthest from their intended pace.

    Parameters
    ----------
    record : the air they lie in
    contents : what lies in it; entries without wheels, or of no known style or stage, are left out

    Returns
    -------
    dict : ``drying`` and ``mould``, each (value, low, high) [-] with its 90 % interval, or None.
    """
    each = [contents_paces(site, room, record, entry) for entry in contents if entry.wheels]
    return {
        "drying": _furthest(p.drying for p in each),
        "mould": _furthest(p.mould for p in each),
    }


def contents_paces(site: Site, room: Room, record: AirRecord, contents: Contents) -> ContentsPaces:
    """The paces of one entry of a room's contents in the air of a record."""
    stage, style = stage_of(site, contents), site.style_by_id.get(contents.style)
    if stage is None or style is None or record.temperature_c is None or record.rh_pct is None:
        return ContentsPaces(contents, None, None)
    climate = Climate(
        record.temperature_c,
        record.rh_pct,
        record.temperature_sigma_k or 0.0,
        record.rh_sigma_pct or 0.0,
        record.rh_creep_pct or 0.0,
        stage.reference_temperature_c,
        stage.reference_rh_pct,
    )
    speed = room.air_speed_at(contents.place or record.place)
    kinds = style.unwanted_moulds or RIND_MOULDS[style.rind].unwanted
    return ContentsPaces(
        contents, _drying(climate, speed, _pressure(site.site.altitude_m)), _mould(climate, tuple(kinds))
    )


@dataclass(frozen=True, slots=True)
class Climate:
    """All that a pace hangs on, so that several rules that ask for the same one have it worked out once."""

    temperature_c: float
    rh_pct: float
    temperature_sigma_k: float
    rh_sigma_pct: float
    rh_creep_pct: float
    reference_temperature_c: float
    reference_rh_pct: float


@lru_cache(maxsize=64)
def _pressure(altitude_m: float) -> float:
    return float(air.pressure_at_altitude(altitude_m))


@lru_cache(maxsize=4096)
def _drying(climate: Climate, speed: float, pressure: float) -> Pace | None:
    return _with_doubt(
        climate,
        lambda t, rh: drying_pace(
            t,
            rh,
            climate.reference_temperature_c,
            climate.reference_rh_pct,
            air_speed_m_s=speed,
            pressure_pa=pressure,
        ),
    )


@lru_cache(maxsize=4096)
def _mould(climate: Climate, species: tuple[str, ...]) -> Pace | None:
    # A rind at rest with its air has the air's humidity as its water activity; the twin knows better where it runs.
    return _with_doubt(
        climate,
        lambda t, rh: mould_pace(
            t,
            np.asarray(rh) / 100.0,
            climate.reference_temperature_c,
            climate.reference_rh_pct / 100.0,
            species=species,
        ),
    )


def _with_doubt(climate: Climate, pace: Callable[[Any, Any], Any]) -> Pace | None:
    """The pace in the air, and at one standard uncertainty to each side of temperature and humidity.

    The two sides' changes are added in squares (JCGM 100:2008, eq. 10, by finite steps as wide as the
    uncertainty, which follows the bend of a pace better than a slope).  What creep may have added to the humidity is no
    chance: it widens the interval on one side, by its whole effect.
    """
    sigma_t, sigma_rh, creep = climate.temperature_sigma_k, climate.rh_sigma_pct, climate.rh_creep_pct
    t = climate.temperature_c + np.array([0.0, sigma_t, -sigma_t, 0.0, 0.0, 0.0])
    rh = np.clip(climate.rh_pct + np.array([0.0, 0.0, 0.0, sigma_rh, -sigma_rh, -creep]), 0.0, 100.0)
    values = np.asarray(pace(t, rh), dtype=float)
    if not np.all(np.isfinite(values)):
        return None
    changes = values[1:] - values[0]
    up = math.hypot(max(changes[0], changes[1], 0.0), max(changes[2], changes[3], 0.0))
    down = -math.hypot(min(changes[0], changes[1], 0.0), min(changes[2], changes[3], 0.0))
    value, crept = float(values[0]), float(changes[4])
    low = value + NINETY_PCT * down + min(crept, 0.0)
    # A pace never below nothing in itself has no doubt below nothing either.
    return value, max(0.0, low) if value >= 0 else low, value + NINETY_PCT * up + max(crept, 0.0)


def _furthest(candidates: Iterable[Pace | None]) -> Pace | None:
    known = [pace for pace in candidates if pace is not None]
    return max(known, key=lambda pace: abs(math.log(max(pace[0], 0.01))), default=None)
