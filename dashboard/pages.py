"""Every page: its address, its name, the role it needs, and what draws it."""

from __future__ import annotations

from collections.abc import Callable

from dashboard.screens import alarms, evidence, next_to_grade, room, rooms_now, set_up, shelves, wheel
from dashboard.source import Source

PAGES: tuple[tuple[str, str, str, Callable[[Source], None]], ...] = (
    ("", "Rooms now", "look", rooms_now.show),
    ("alarms", "Alarms", "look", alarms.show),
    ("room", "Over time", "look", room.show),
    ("shelves", "Shelves", "look", shelves.show),
    ("next", "Next to grade", "look", next_to_grade.show),
    ("wheel", "Wheel", "look", wheel.show),
    ("evidence", "Air and rind", "look", evidence.show),
    ("setup", "Set-up", "set up", set_up.show),
)
"""In the order of the bar; the first has no address."""
