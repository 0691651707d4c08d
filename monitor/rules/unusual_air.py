"""Air that within an hour does what this room's air does not do at this time of day: a door, a humidifier, a plant."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median
from typing import Any

from monitor import air
from monitor.clock import TEN_MINUTES_MS
from monitor.rules.base import Rule, wheels_at
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.slots import GAP_MS
from monitor.rules.usual_changes import UsualChanges, Usually
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import temperature_text, wheels_text

HOUR_MS = 3_600_000
LASTING, GAP, BEFORE = 3, 3, 24
"""Slots that a change must last, slots left out before them, and slots of the hours that it is measured against."""
SETTLING = 0.02
"""How much of what a place is off the room is learnt with each slot: a third of a day for most of it."""
TEMPERATURE, HUMIDITY, WATER, HEAT = range(4)
KINDS = ((1, TEMPERATURE), (1, HEAT), (-1, TEMPERATURE), (-1, HUMIDITY), (-1, WATER), (-1, HEAT))
"""Changes that are watched.  Washing makes air damper often and by right, so damper air alone is left to other rules."""
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
View = list[float]
"""Temperature [degC], relative humidity [%], water in dry air [g/kg], heat content [kJ/kg]."""


class UnusualAirRule(Rule):
    """Unusual air: for half an hour further from the hours before than on any of the last days at this time of day.

    Judged on the room as a whole (the median of its places), by temperature, humidity, water content and enthalpy: a door
    to colder air takes heat and water out, a dry humidifier only water.  A one-sided test of a change of mean, lasting
    rather than summed as in Page 1954 (Biometrika 41:100), whose limit is the room's own record; margins, days and
    hours are common practice, no source.  What stays so for ``stands_h`` is no longer news.
    """

    name = "unusual_air"

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        waiting = self.memory.setdefault("open", {})
        for record in self.new_air(moment):
            if record.place and record.temperature_c is not None and record.rh_pct is not None:
                slot = waiting.setdefault(str(record.start_ms), {})
                slot[record.place] = [record.temperature_c, record.rh_pct]
        for start in sorted(int(s) for s in waiting if int(s) + TEN_MINUTES_MS <= moment.now_ms):
            view = self._of_room(waiting.pop(str(start)))
            yield from self._closed(moment, start, view)

    def _of_room(self, places: dict[str, list[float]]) -> View:
        """The median of the places, each less what it is usually off, so that a place without a reading moves nothing."""
        offsets = self.memory.setdefault("offsets", {})
        plain = [median(values[column] for values in places.values()) for column in (0, 1)]
        for name, values in places.items():
            offsets.setdefault(name, [values[column] - plain[column] for column in (0, 1)])
        room = [median(v[column] - offsets[name][column] for name, v in places.items()) for column in (0, 1)]
        for name, values in places.items():
            for column in (0, 1):
                off = values[column] - room[column]
                offsets[name][column] += SETTLING * (off - offsets[name][column])
        humidity = min(max(room[1], 0.0), 100.0)
        water, heat = air.humidity_ratio(room[0], humidity), air.enthalpy(room[0], humidity)
        return [room[0], humidity, 1e3 * float(water), 1e-3 * float(heat)]

    def _closed(self, moment: Moment, start_ms: int, view: View) -> Iterator[Evidence]:
        """What the slot that is now over shows."""
        course = self.memory.setdefault("course", [])
        if course and start_ms <= course[-1][0]:
            return
        if course and start_ms - course[-1][0] > GAP_MS:
            course.clear()
        course.append([start_ms, *view])
        del course[: -(LASTING + GAP + BEFORE + 1)]
        if len(course) <= LASTING + GAP + BEFORE:
            return
        lows, highs = _before(course)
        newest = [slot[1:] for slot in course[-LASTING:]]
        changes = [_lasting(side, [v[q] for v in newest], lows[q], highs[q]) for side, q in KINDS]
        usual = self._usual().largest(start_ms)
        if usual is not None:
            event = self._event(start_ms, course, changes, usual, (lows, highs))
            facts = {} if event is None else {**event, "wheels": wheels_at(moment, self.room, "")}
            yield Evidence("air", start_ms + TEN_MINUTES_MS, event is not None, event is None, facts)
        ranges = [high - low for low, high in zip(lows, highs, strict=True)]
        self._usual().learn(start_ms, [max(change, 0.0) for change in changes], ranges, view)

    def _event(
        self,
        start_ms: int,
        course: list[list[float]],
        changes: list[float],
        usual: Usually,
        before: tuple[View, View],
    ) -> dict[str, Any] | None:
        """The unusual change that lasts, or has just begun; None where there is none, or it is no longer one."""
        event = self.memory.get("event")
        if event is not None:
            back = event["side"] * (course[-1][1 + event["view"]] - event["edge"]) <= 0
            if back or start_ms - event["from_ms"] > self.settings.stands_h * HOUR_MS:
                self.memory["event"] = event = None
        else:
            over = self._over(changes, usual, course[-1])
            if over:
                side, view = KINDS[max(over, key=lambda kind: over[kind])]
                event = {
                    "from_ms": int(course[-LASTING][0]),
                    "side": side,
                    "view": view,
                    "edge": before[0 if side < 0 else 1][view],
                    "before": [median(s[1 + q] for s in course[: -LASTING - GAP]) for q in (0, 1)],
                    "about": self._about([KINDS[kind] for kind in over], course),
                }
                self.memory["event"] = event
        if event is not None:
            event["now"] = course[-1][1:3]
        return event

    def _over(self, changes: list[float], usual: Usually, newest: list[float]) -> dict[int, float]:
        """The kinds of change beyond the usual, and how many times what is allowed.

        A change back towards where the room was in the last days is none.
        """
        own = self.settings
        margins = (own.temperature_margin_k, own.humidity_margin_pct, own.water_margin_g, own.heat_margin_kj)
        found = {}
        for kind, (side, view) in enumerate(KINDS):
            margin = max(margins[view], RANGE_SHARE * usual.ranges[view])
            allowed = usual.doubt * (own.times_usual * usual.changes[kind] + margin)
            away = side * (newest[1 + view] - usual.levels[view]) > 0
            if away and changes[kind] > allowed:
                found[kind] = changes[kind] / allowed
        return found

    def _about(self, over: list[tuple[int, int]], course: list[list[float]]) -> str:
        """Which cause comes to mind first."""
        if any(side > 0 for side, _ in over):
            return "warm"
        cooler = median(s[1] for s in course[: -LASTING - GAP]) - median(s[1] for s in course[-LASTING:])
        return "door" if cooler >= COOLER_K or (-1, TEMPERATURE) in over else "dry"

    def _usual(self) -> UsualChanges:
        days = self.memory.setdefault("usual", [])
        return UsualChanges(days, self.settings.usual_days, 4, len(KINDS))

    def alive(self, moment: Moment, key: str) -> bool:
        return self.room.id in moment.contents_by_room

    def _rewind(self, now_ms: int) -> None:
        super()._rewind(now_ms)
        self.memory["open"] = {}
        self.memory["course"] = [s for s in self.memory.get("course", ()) if s[0] + TEN_MINUTES_MS <= now_ms]
        if self.memory.get("event") is not None:
            self.memory["event"]["from_ms"] = min(self.memory["event"]["from_ms"], now_ms)

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
            priority=Priority.MEDIUM,
            effect=f"{wheels_text(len(facts['wheels']))} {WILL[about]}",
            wheels=tuple(facts["wheels"]),
            cause=self.air_cause,
            numbers={
                "before_c": round(warm_before, 2),
                "before_pct": round(damp_before, 1),
                "temperature_c": round(warm_now, 2),
                "rh_pct": round(damp_now, 1),
            },
        )


def _before(course: list[list[float]]) -> tuple[View, View]:
    """Lowest and highest of each view in the hours before, single slots that stand out left out (medians of three)."""
    lows, highs = [], []
    for view in range(1, 5):
        values = [slot[view] for slot in course]
        smooth = [
            a + b + c - min(a, b, c) - max(a, b, c)
            for a, b, c in zip(values[:BEFORE], values[1:], values[2:], strict=False)
        ]
        lows.append(min(smooth))
        highs.append(max(smooth))
    return lows, highs


def _lasting(side: int, newest: list[float], low: float, high: float) -> float:
    """How far the last slots all lie beyond the hours before, on one side; below zero where one does not."""
    return min(value - high if side > 0 else low - value for value in newest)
