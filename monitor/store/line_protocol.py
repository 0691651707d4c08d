"""Readings and air records as InfluxDB line protocol, one line each.

Basis: InfluxDB 2 documentation, "Line protocol" (tag and field escaping); checked against influxdb-client's own
``Point``.  Times are in milliseconds.  A value that is not known is no field, and is named in ``missing``, so that
writing a record again also takes values back.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from monitor.records import AirRecord, Reading
from monitor.store.side_tables import AIR_COLUMNS

READING, AIR, CARRIED = "reading", "air", "carried"
WHOLE_ROOM = "-"
"""Stands for the empty place of a whole room, since a tag cannot be empty; no place can have that name."""
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff]")
_TAG = re.compile(r"([,= ])")


@dataclass(frozen=True)
class Carried:
    """Word that somebody carried readings of a series over: their first and last time, and when it was said [ms]."""

    by: str
    sensor: str
    quantity: str
    first_ms: int
    last_ms: int
    at_ms: int


def reading_line(site: str, reading: Reading) -> str:
    """A reading: tags site, sensor, quantity; fields value (where there is one), flag, and reason (where it is told)."""
    tags = f"{READING},quantity={tag(reading.quantity)},sensor={tag(reading.sensor)},site={tag(site)}"
    fields = f"flag={int(reading.flag)}i"
    if reading.reason:
        fields += f",reason={text(reading.reason)}"
    if reading.value is not None:
        fields += f",value={float(reading.value)!r}"
    return f"{tags} {fields} {reading.time_ms}"


def air_line(site: str, record: AirRecord) -> str:
    """An air record: tags site, room, place; a field for each value that is known, and the names of those that are not."""
    place = tag(record.place or WHOLE_ROOM)
    tags = f"{AIR},place={place},room={tag(record.room)},site={tag(site)}"
    values = {name: getattr(record, name) for name in AIR_COLUMNS}
    known = ",".join(f"{name}={float(value)!r}" for name, value in values.items() if value is not None)
    missing = " ".join(name for name, value in values.items() if value is None)
    return f"{tags} {known},missing={text(missing)} {record.start_ms}"


def carried_line(site: str, told: Carried) -> str:
    """Word to other machines, as a point: tags site, by, sensor, quantity; fields first and last."""
    tags = f"by={tag(told.by)},quantity={tag(told.quantity)},sensor={tag(told.sensor)},site={tag(site)}"
    return f"{CARRIED},{tags} first={told.first_ms}i,last={told.last_ms}i {told.at_ms}"


def tag(value: str) -> str:
    """A tag's value, escaped."""
    return _TAG.sub(r"\\\1", as_tag(value))


def as_tag(value: str) -> str:
    """What a name becomes as a tag.

    Identifiers of a site file hold neither control characters nor backslashes, which a tag cannot carry; should one come all
    the same, it is replaced.
    """
    return _CONTROL.sub(" ", value).replace("\\", "/")


def text(value: str) -> str:
    """A text field, quoted."""
    plain = _CONTROL.sub(" ", value).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{plain}"'
