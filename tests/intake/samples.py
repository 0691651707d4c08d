"""A small invented site for tests of the intake."""

from __future__ import annotations

from typing import Any

from monitor.site import Broker, Place, Room, Sensor, Site, SiteInfo


def sensor(name: str = "rack-1", **more: Any) -> Sensor:
    return Sensor(id=name, room="cave", place="left", **more)


def site_with(*sensors: Sensor, broker: Broker | None = None) -> Site:
    """A site of one cave with the sensors given (one SenML sensor, rack-1, where none is)."""
    room = Room(id="cave", name="Lower cave", kind="cave", place=(Place(id="left"),))
    return Site(
        site=SiteInfo(name="Test site"),
        broker=broker or Broker(),
        room=(room,),
        sensor=sensors or (sensor(),),
    )
