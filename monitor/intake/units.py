"""Units as sensors send them, turned into the canonical unit of each quantity.

Unit symbols are those of RFC 8428 table 12.1 (SenML), RFC 8798 (secondary units) and their everyday spellings.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Conversion:
    """canonical = value * scale + offset."""

    scale: float = 1.0
    offset: float = 0.0

    def __call__(self, value: float) -> float:
        if self.scale == 1.0 and self.offset == 0.0:
            return value
        return value * self.scale + self.offset


SAME = Conversion()
_OTHER_WAY = Conversion(-1.0, 1.0)
_PERCENT_FROM_RATIO = Conversion(100.0)


@dataclass(frozen=True, slots=True)
class Fahrenheit(Conversion):
    """Degrees Fahrenheit to Celsius, in the order that keeps 32 degF exactly 0 degC."""

    def __call__(self, value: float) -> float:
        return (value - 32.0) / 1.8


_TEMPERATURE: dict[str, Conversion] = {
    **dict.fromkeys(("Cel", "degC", "°C", "C", "celsius"), SAME),
    **dict.fromkeys(("K", "kelvin"), Conversion(1.0, -273.15)),
    **dict.fromkeys(("degF", "°F", "F", "fahrenheit"), Fahrenheit()),
}
_PERCENT: dict[str, Conversion] = {
    **dict.fromkeys(("%", "/100", "percent"), SAME),
    **dict.fromkeys(("/", "1", "ratio", "fraction"), _PERCENT_FROM_RATIO),
}
_PPM: dict[str, Conversion] = {
    "ppm": SAME,
    "/": Conversion(1e6),
    "%": Conversion(1e4),
    "/100": Conversion(1e4),
    "ppb": Conversion(1e-3),
}

CONVERSIONS: dict[str, dict[str, Conversion]] = {
    "temperature": _TEMPERATURE,
    "surface_temperature": _TEMPERATURE,
    "humidity": {**_PERCENT, "%RH": SAME, "%rh": SAME},
    "air_speed": {"m/s": SAME, "km/h": Conversion(1 / 3.6), "ft/min": Conversion(0.3048 / 60.0)},
    "pressure": {
        "Pa": SAME,
        "hPa": Conversion(100.0),
        "mbar": Conversion(100.0),
        "kPa": Conversion(1000.0),
        "bar": Conversion(1e5),
    },
    "carbon_dioxide": _PPM,
    "ammonia": _PPM,
    "oxygen": _PERCENT,
    "battery": {**_PERCENT, "%EL": SAME},
    "door_open": {"open": SAME, "shut": _OTHER_WAY, "/": SAME},
    "water_low": {"low": SAME, "enough": _OTHER_WAY, "/": SAME},
    "battery_voltage": {"V": SAME, "mV": Conversion(1e-3)},
}
"""For every quantity: each unit it may be sent in, and how to turn it into the canonical one.

A contact's "unit" says what its 1 stands for: a reed contact may send 1 while its door is shut."""


def conversion(quantity: str, unit: str) -> Conversion | None:
    """How to turn a quantity sent in ``unit`` into its canonical unit (an empty unit is the canonical one);
    None where the unit is not one of that quantity."""
    if not unit:
        return SAME
    return CONVERSIONS[quantity].get(unit)


def units_of(quantity: str) -> str:
    """The units a quantity may be sent in, for a message to a person."""
    return ", ".join(list(CONVERSIONS[quantity])[:8])
