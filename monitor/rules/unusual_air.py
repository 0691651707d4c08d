"""Air that within an hour does what this room's air does not do at this time of day: a door, a humidifier, a plant."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from monitor import air
from monitor.clock import TEN_MINUTES_MS
from monitor.rules.base import wheels_at
from monitor.rules.course import Allowed, Course, View
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.slots import RoomSlotRule
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import temperature_text, wheels_text

TEMPERATURE, HUMIDITY, WATER, HEAT = range(4)
KINDS = ((1, TEMPERATURE), (1, HEAT), (-1, TEMPERATURE), (-1, HUMIDITY), (-1, WATER), (-1, HEAT))
"""Changes that are watched.  Washing makes air damper often and by right, so damper air alone is left to other rules."""
URGENT = (KINDS.index((1, TEMPERATURE)),)
"""Cooling that stops warms a room within the hour."""
RANGE_SHARE = 0.4
"""A change must pass the usual by this share of the air's usual range over some hours."""
COOLER_K = 0.1
CHECK_FIRST = {
    "door": "Is the door shut, or a vent open? Then: has the humidifier water?",
    "dry": "Has the humidifier water? Then: is the door shut, a vent open to dry air?",
    "warm": "Is the door shut, the cooling running, somebody still at work in the room?",
}
WILL = {
    "door": "drying faster than intended while it lasts",
    "dry": "drying faster than intended, rinds may crack",
    "warm": "ripening and drying faster than intended",
}


class UnusualAirRule(RoomSlotRule):
    """Unusual air: for half an hour further from the hours before than on any of the last days at this time of day.

    Judged on the room as a whole (the median of its places), by temperature, humidity, water content and enthalpy: a door
    to colder air takes heat and water out, a dry humidifier only water.  A one-sided test of a change of mean, lasting
    rather than summed as in Page 1954 (Biometrika 41:100), whose limit is the room's own record; margins, days and
    hours are common practice, no source.  What stays so for ``stands_h`` is no longer news.  In a
    room without wheels it is of low priority.
    """

    name = "unusual_air"

    def of_slot(self, moment: Moment, start_ms: int, places: dict[str, list[float]]) -> Iterator[Evidence]:
        course = self._course()
        if course.closed(start_ms, self._of_room(places)):
            event = course.event
            facts = {} if event is None else _facts(event, wheels_at(moment, self.room, ""))
            yield Evidence("air", start_ms + TEN_MINUTES_MS, event is not None, event is None, facts)

    def _of_room(self, places: dict[str, list[float]]) -> View:
        """Temperature [degC], relative humidity [%], water in dry air [g/kg] and heat content [kJ/kg] of the room."""
        room = self.middle(places)
        water, heat = air.humidity_ratio(*room), air.enthalpy(*room)
        return [*room, 1e3 * float(water), 1e-3 * float(heat)]

    def _course(self) -> Course:
        own = self.settings
        margins = (own.temperature_margin_k, own.humidity_margin_pct, own.water_margin_g, own.heat_margin_kj)
        allowed = Allowed(own.times_usual, margins, RANGE_SHARE, own.usual_days, own.stands_h)
        return Course(self.memory.setdefault("room", {}), KINDS, allowed, URGENT)

    def _rewind(self, now_ms: int) -> None:
        super()._rewind(now_ms)
        self._course().rewind(now_ms)

    def finding(self, key: str, watch: Watch) -> Finding:
        facts = watch.facts
        (warm_before, damp_before), (warm_now, damp_now) = facts["before"], facts["now"]
        was, now = (temperature_text(self.site, c) for c in (warm_before, warm_now))
        moved = f"{damp_before:.0f} % and {was} before, {damp_now:.0f} % and {now} now"
        about = facts["about"]
        return Finding(
            rule=self.name,
            room=self.room.id,
            aspect=about,
            since_ms=min(facts["from_ms"], watch.seen_ms),
            seen_ms=watch.seen_ms,
            what=f"The air in {self.room.name} is not what it usually does at this time of day: {moved}",
            short=f"air in {self.room.name} unlike its usual: {moved}",
            check_first=CHECK_FIRST[about],
            priority=Priority.MEDIUM if facts["wheels"] else Priority.LOW,
            effect=f"{wheels_text(len(facts['wheels']))} {WILL[about]}" if facts["wheels"] else "",
            wheels=tuple(facts["wheels"]),
            cause=self.air_cause,
            numbers={
                "before_c": round(warm_before, 2),
                "before_pct": round(damp_before, 1),
                "temperature_c": round(warm_now, 2),
                "rh_pct": round(damp_now, 1),
            },
        )


def _facts(event: dict[str, Any], wheels: list[str]) -> dict[str, Any]:
    return {
        "from_ms": event["from_ms"],
        "before": event["before"][:2],
        "now": event["now"][:2],
        "about": _about(event),
        "wheels": wheels,
    }


def _about(event: dict[str, Any]) -> str:
    """Which cause came to mind first when it began; kept with the event, since a cause has one name while it stands."""
    if "about" not in event:
        over = [KINDS[kind] for kind in event["over"]]
        cooler = event["before"][TEMPERATURE] - event["now"][TEMPERATURE]
        if any(side > 0 for side, _ in over):
            event["about"] = "warm"
        else:
            event["about"] = "door" if cooler >= COOLER_K or (-1, TEMPERATURE) in over else "dry"
    return str(event["about"])
