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
    """A thing that sensors measure: its canonical unit and the range outside which a value is impossible.

    A ``contact`` is a switch of two states, 0 or 1 and nothing between: it has no unit, calibration or quality tests.
    """

    name: str
    unit: str
    lowest: float
    highest: float
    label: str
    contact: bool = False

    def possible(self, value: float) -> bool:
        """Whether a value can be."""
        return value in (0.0, 1.0) if self.contact else self.lowest <= value <= self.highest


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
        Quantity("door_open", "", 0.0, 1.0, "door open", contact=True),
        Quantity("water_low", "", 0.0, 1.0, "humidifier's tank low", contact=True),
    )
}
"""Every quantity by name.  Humidity may read a little over 100 % (sensors that do not clip do so)."""
CONTACTS = frozenset(q.name for q in QUANTITIES.values() if q.contact)
"""The switches of two states: 1 where the name says what is so."""


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
    to make it from.  ``temperature_sigma_k`` and ``rh_sigma_pct`` are standard uncertainties;
    ``rh_creep_pct`` is how far the humidity may read too high besides (one-sided, see `monitor.intake.quality`).
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
    rh_creep_pct: float | None = None


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


@dataclass(frozen=True, slots=True)
class RindNow:
    """What the rind twin of one wheel says at a moment; None where it is not known.

    ``cracking_index`` is the moisture gradient at the rind as `monitor.rind.rind_face` states it; ``blue_index``
    and ``mite_index`` are doses since the wheel's last brushing or making over those that show, 1.0 where a
    person may be expected to see something.  ``way_in`` says where air gets under the rind: ``crack``, ``plug``,
    ``cloth`` or nothing.  ``unknown_hours`` is the time without air records since the make.
    """

    wheel: str
    at_ms: int
    mass_kg: float | None
    mass_low_kg: float | None
    mass_high_kg: float | None
    water_activity: float | None
    surface_temperature_c: float | None
    loss_kg_per_day: float | None
    cracking_index: float | None = None
    blue_index: float | None = None
    mite_index: float | None = None
    free_water_hours: float | None = None
    way_in: str = ""
    unknown_hours: float = 0.0
