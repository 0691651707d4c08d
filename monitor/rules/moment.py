"""What the rules are told at a moment: the newest air, what is in the rooms, and who was heard from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from monitor.climate.sensor_watch import SensorState
from monitor.clock import TEN_MINUTES_MS
from monitor.records import AirRecord, Contents, Reading, RindNow
from monitor.site import Site


@dataclass(frozen=True)
class Moment:
    """One step of time for the rules; everything but ``now_ms`` and ``site`` may be empty.

    ``air`` holds the ten-minute records that are new or were made again since the last moment (a slot still
    in progress comes again and again with growing coverage); ``readings`` the readings that arrived since
    then; ``contents`` all that is in the rooms now; ``last_seen`` the time [ms] of each sensor's newest
    reading; ``parts`` the health of the monitor's own parts by name, each
    ``{"ok": bool, "since_ms": int, "detail": str}``; ``rinds`` what the twin of each wheel says, by wheel; ``sensors`` how each
    sensor itself is doing.
    """

    now_ms: int
    site: Site
    air: tuple[AirRecord, ...] = ()
    contents: tuple[Contents, ...] = ()
    last_seen: Mapping[str, int] = field(default_factory=dict)
    parts: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    readings: tuple[Reading, ...] = ()
    rinds: Mapping[str, RindNow] = field(default_factory=dict)
    sensors: Mapping[str, SensorState] = field(default_factory=dict)

    @cached_property
    def air_by_room(self) -> dict[str, list[AirRecord]]:
        """The new air records of each room, oldest first."""
        grouped: dict[str, list[AirRecord]] = defaultdict(list)
        for record in sorted(self.air, key=lambda r: (r.start_ms, r.place)):
            grouped[record.room].append(record)
        return grouped

    @cached_property
    def contents_by_room(self) -> dict[str, list[Contents]]:
        """What is in each room; entries without wheels are left out."""
        grouped: dict[str, list[Contents]] = defaultdict(list)
        for entry in self.contents:
            if entry.wheels:
                grouped[entry.room].append(entry)
        return grouped

    @cached_property
    def readings_by_room(self) -> dict[str, list[Reading]]:
        """The new readings of each room's sensors, oldest first; readings of unknown sensors are left out."""
        grouped: dict[str, list[Reading]] = defaultdict(list)
        for reading in sorted(self.readings, key=lambda r: (r.time_ms, r.sensor, r.quantity)):
            sensor = self.site.sensor_by_id.get(reading.sensor)
            if sensor is not None:
                grouped[sensor.room].append(reading)
        return grouped


def evidence_time(record: AirRecord, now_ms: int) -> int:
    """When a record speaks of [ms]: now while its slot is in progress, the slot's end afterwards."""
    return max(record.start_ms, min(now_ms, record.start_ms + TEN_MINUTES_MS))
