"""Air that no longer moves: places drift apart, or a measured air speed is lost."""

from __future__ import annotations

from collections.abc import Iterator

from monitor.records import GOOD_FLAGS, AirRecord
from monitor.rules.base import wheels_at
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment, evidence_time
from monitor.rules.slots import Slot, SlotRule, Usual
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import difference_text, place_name, wheels_text

LASTING = 3


class StillAirRule(SlotRule):
    """Air not moving: places further apart in temperature than on any usual day, for half an hour and the delay.

    A fan mixes a room; when it stops, warm air lies above cold.  Where air speed is measured, a speed under
    ``slowest_m_s`` says so by itself (0.1 to 0.3 m/s is customary at the cheese: common practice, no source, as are
    the limits and the delay).
    """

    name = "still_air"
    kept = LASTING

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        yield from super().evidence(moment)
        for reading in moment.readings_by_room.get(self.room.id, ()):
            if reading.quantity == "air_speed" and reading.value is not None and reading.flag in GOOD_FLAGS:
                slowest, place = self.settings.slowest_m_s, self.site.sensor_by_id[reading.sensor].place
                out = reading.value < slowest
                facts = {
                    "speed": reading.value,
                    "place": place,
                    "wheels": wheels_at(moment, self.room, place),
                }
                time_ms = min(reading.time_ms, moment.now_ms)
                yield Evidence(f"speed|{reading.sensor}", time_ms, out, reading.value >= 1.5 * slowest, facts)

    def of_place(self, moment: Moment, record: AirRecord, recent: list[Slot]) -> Iterator[Evidence]:
        spreads = self._spreads(record.start_ms)
        self.memory["spread"] = [record.start_ms, min(spreads)] if len(spreads) == LASTING else None
        usual = self._usual().range()
        if usual is None or self.memory["spread"] is None:
            return
        excess = min(spreads) - usual[1]
        facts = {
            "spread": spreads[-1],
            "usual": usual[1],
            "wheels": wheels_at(moment, self.room, ""),
        }
        out = excess > self.settings.further_apart_k
        yield Evidence("apart", evidence_time(record, moment.now_ms), out, excess <= 0.0, facts)

    def _spreads(self, newest_ms: int) -> list[float]:
        """Highest less lowest temperature of the places in each of the last slots, oldest first [K]."""
        by_slot: dict[int, list[float]] = {}
        for place, recent in self.memory["recent"].items():
            for start_ms, temperature_c, _ in recent if place else ():
                by_slot.setdefault(start_ms, []).append(temperature_c)
        step = range(LASTING - 1, -1, -1)
        values = [by_slot.get(newest_ms - 600_000 * back, ()) for back in step]
        return [max(v) - min(v) for v in values if len(v) >= 2]

    def finish(self, place: str, recent: list[Slot]) -> None:
        known = self.memory.get("spread")
        if known is not None:
            self._usual().update(known[0], known[1], known[1])
            self.memory["spread"] = None

    def _usual(self) -> Usual:
        return Usual(self.memory.setdefault("usual", []), self.settings.usual_days)

    def finding(self, key: str, watch: Watch) -> Finding:
        facts, who = watch.facts, wheels_text(len(watch.facts["wheels"]))
        if key == "apart":
            apart, usual = (difference_text(self.site, facts[name]) for name in ("spread", "usual"))
            what = f"Air in {self.room.name} may not be moving: places are {apart} apart, usually {usual} at most"
            numbers = {"apart_k": facts["spread"], "usual_k": facts["usual"]}
        else:
            where = place_name(self.room, facts["place"])
            what = f"Air at {where} hardly moves: {facts['speed']:.2f} m/s"
            numbers = {"air_speed_m_s": facts["speed"]}
        return Finding(
            rule=self.name,
            room=self.room.id,
            aspect=key.replace("|", "-"),
            place=facts.get("place", ""),
            since_ms=watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            what=what,
            check_first="Does the fan turn, is the coil free of ice, are the shelves loaded so that air gets through?",
            priority=Priority.MEDIUM,
            effect=f"{who} dry unevenly; damp stays where the air stands, and mould with it",
            wheels=tuple(facts["wheels"]),
            cause=self.air_cause,
            numbers=numbers,
        )
