"""What loggers write above their columns, in the languages of their users."""

from __future__ import annotations

import re

from monitor.intake.units import conversion

_NOT_OURS = re.compile(
    r"dew|taupunkt|ros[ée]e|rugiada|wet.?bulb|feuchtkugel|abs|min\b|max\b|alarm|status|set.?point", re.I
)
_WORDS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("surface_temperature", re.compile(r"surface|oberfl|wall|wand|paroi|parete", re.I)),
    (
        "humidity",
        re.compile(
            r"humid|feucht|umidit|hygro|%\s*r\.?h|\br\.?h\b|%\s*h\.?r|\bh\.?r\b|%\s*r\.?f\b|\br\.?f\b", re.I
        ),
    ),
    ("carbon_dioxide", re.compile(r"\bco2\b|carbon.?dioxide|kohlendioxid|co₂", re.I)),
    ("ammonia", re.compile(r"ammon|\bnh3\b|nh₃", re.I)),
    ("oxygen", re.compile(r"oxygen|sauerstoff|oxyg[èe]ne|ossigeno|\bo2\b", re.I)),
    ("pressure", re.compile(r"press|luftdruck|barom", re.I)),
    ("air_speed", re.compile(r"air.?(speed|velocity)|luftgeschw|vitesse|velocit", re.I)),
    ("battery_voltage", re.compile(r"batt\w*.*\bm?v\b", re.I)),
    ("battery", re.compile(r"batt", re.I)),
    ("temperature", re.compile(r"temp|°\s*[cfk]\b|\bdeg\s*[cf]\b|℃|℉|^t\b", re.I)),
    ("water_low", re.compile(r"water.?low|tank.?(low|empty)|float.?switch|schwimmerschalter", re.I)),
    ("door_open", re.compile(r"\bdoor|\bt[üu]r\b|reed.?contact|\bporte\b|\bporta\b", re.I)),
)
_UNITS: tuple[tuple[re.Pattern[str], str], ...] = (
    (re.compile(r"°\s*f\b|℉|deg\s*f\b|fahrenheit|[(\[]\s*f\s*[)\]]|_f$", re.I), "degF"),
    (re.compile(r"°\s*c\b|℃|deg\s*c\b|celsius|[(\[]\s*c\s*[)\]]|_c$", re.I), "degC"),
    (re.compile(r"kelvin|[(\[]\s*k\s*[)\]]|_k$", re.I), "K"),
    (re.compile(r"ppm", re.I), "ppm"),
    (re.compile(r"ppb", re.I), "ppb"),
    (re.compile(r"hpa|mbar", re.I), "hPa"),
    (re.compile(r"kpa", re.I), "kPa"),
    (re.compile(r"\bpa\b", re.I), "Pa"),
    (re.compile(r"km/h", re.I), "km/h"),
    (re.compile(r"m/s", re.I), "m/s"),
    (re.compile(r"\bmv\b", re.I), "mV"),
    (re.compile(r"\bv\b", re.I), "V"),
    (re.compile(r"%|percent|pct", re.I), "%"),
)


def quantity_of(heading: str) -> tuple[str, str] | None:
    """The quantity that a heading speaks of and the unit it names (else empty); None where it speaks of none.

    Dew points, wet bulbs, extremes, alarms and set points are none of ours.
    """
    text = heading.strip()
    if not text or len(text) > 200 or _NOT_OURS.search(text):
        return None
    quantity = next((name for name, words in _WORDS if words.search(text)), None)
    if quantity is None:
        return None
    units = (unit for pattern, unit in _UNITS if pattern.search(text))
    return quantity, next((unit for unit in units if conversion(quantity, unit) is not None), "")
