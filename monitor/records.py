"""The records that flow through the project: readings, air records, and what could not be read."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import IntEnum

from monitor.clock import from_ms


class Flag(IntEnum):
    """Quality flags of UNESCO-IOC (2013), Manuals and Guides 54 vol. 3, as QARTOD uses them."""

    PASS = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    FAIL = 4
    MISSING = 9


GOOD_FLAGS = frozenset({Flag.PASS, Flag.NOT_EVALUATED})


@dataclass(frozen=True, slots=True)
class Quantity:
    """A thing that sensors measure: its canonical unit and the range outside which a value is impossible."""

    name: str
    unit: str
    lowest: float
    highest: float
    label: str


QUANTITIES: dict[str, Quantity] = {
    q.name: q
    for q in (
        Quantity("temperature", "degC", -40.0, 85.0, "air temperature"),
        Quantity("humidity", "%RH", 0.0, 105.0, "relative humidity"),
        Quantity("surface_temperature", "degC", -40.0, 85.0, "surface temperature"),
        Quantity("air_speed", "m/s", 0.0, 30.0, "air speed"),
        Quantity("pressure", "Pa", 50_000.0, 110_000.0, "barometric pressure"),
        Quantity("carbon_dioxide", "ppm", 0.0, 500_000.0, "carbon dioxide"),
        Quantity("ammonia", "ppm", 0.0, 10_000.0, "ammonia"),
        Quantity("oxygen", "%", 0.0, 30.0, "oxygen"),
        Quantity("battery", "%", 0.0, 100.0, "battery charge"),
        Quantity("battery_voltage", "V", 0.0, 60.0, "battery voltage"),
    )
}
"""Every quantity by name.  Humidity may read a little over 100 % (sensors that do not clip do so)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one quantity from one sensor at one time.

    ``value`` is in the quantity's canonical unit (see `QUANTITIES`); None where the sensor said that it
    has no value.  ``time_ms`` is milliseconds since 1970-01-01T00:00Z by the sensor's own statement, or
    the arrival time where it states none.
    """

    sensor: str
    quantity: str
    time_ms: int
    value: float | None
    flag: int = Flag.NOT_EVALUATED
    reason: str = ""

    @property
    def time(self) -> datetime:
        return from_ms(self.time_ms)


@dataclass(frozen=True, slots=True)
class Reject:
    """A message, or a part of one, that could not become a reading, and why."""

    time_ms: int
    topic: str
    reason: str
    payload: bytes = b""
    sensor: str = ""


@dataclass(frozen=True, slots=True)
class AirRecord:
    """The ten-minute summary of the air at a place (or, with an empty place, of a whole room).

    Temperatures in degC, humidities in percent, pressures in Pa.  ``coverage`` is the share of the
    readings expected in the slot that were good, 0 to 1.  A value is None where there was nothing good
    to make it from.  ``temperature_sigma_k`` and ``rh_sigma_pct`` are standard uncertainties.
    """

    room: str
    place: str
    start_ms: int
    temperature_c: float | None
    temperature_min_c: float | None
    temperature_max_c: float | None
    rh_pct: float | None
    rh_min_pct: float | None
    rh_max_pct: float | None
    coverage: float
    dew_point_c: float | None
    vapour_pressure_deficit_pa: float | None
    temperature_sigma_k: float | None = None
    rh_sigma_pct: float | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """A sensor's ten-minute slot whose air record is to be made again.

    ``revision`` tells one change of a slot from a later one.
    """

    sensor: str
    slot_ms: int
    revision: int


@dataclass(frozen=True)
class Contents:
    """What of one style is in a room (or place) now: which wheels, and in which stage of age."""

    room: str
    place: str
    style: str
    stage: str
    wheels: tuple[str, ...] = field(default=())
