"""Air that goes up and down too far, and a plant that starts too often."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median

from monitor.records import GOOD_FLAGS, AirRecord, Reading
from monitor.rules.base import wheels_at
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment, evidence_time
from monitor.rules.slots import Slot, SlotRule
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import difference_text, wheels_text

DEFROST_SLOTS, DEFROST_RISE_K = 4, 0.5
"""A defrost: at most so many slots running, over the window's median by so much [K], with lower air on both sides."""
LEAST_SLOTS = 24
HOUR_MS = 3_600_000
STARTS_OVER_H = 2
SETTLE_S, TURN_K = 900.0, 0.1
"""Readings count as a turn of the plant when they pass their own mean of some 15 min by so much [K]."""


class SwingsRule(SlotRule):
    """Swings over six hours with defrosts left out, and starts of the plant an hour over the last two.

    Wheels feel the mean of a fast swing; slow and wide ones open and close a rind.  Makers of compressors commonly
    allow some 6 to 10 starts an hour (common practice, no source, as all limits here).
    """

    name = "swings"
    kept = 36

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        yield from super().evidence(moment)
        for reading in moment.readings_by_room.get(self.room.id, ()):
            if reading.quantity == "temperature" and reading.flag in GOOD_FLAGS and reading.value is not None:
                yield from self._turns(moment, reading, reading.value)

    def of_place(self, moment: Moment, record: AirRecord, recent: list[Slot]) -> Iterator[Evidence]:
        # A room is told by its own record, the mean of its places: one place's door or coil is not the room.
        if record.place or len(recent) < LEAST_SLOTS:
            return
        kept, defrosts = without_defrosts([slot[1] for slot in recent])
        wheels = wheels_at(moment, self.room, "")
        for quantity, column, limit in (
            ("temperature", 1, self.settings.temperature_k),
            ("humidity", 2, self.settings.humidity_pct),
        ):
            values = [recent[i][column] for i in kept]
            swing = max(values) - min(values)
            facts = {"swing": swing, "defrosts": defrosts, "wheels": wheels}
            time_ms = evidence_time(record, moment.now_ms)
            yield Evidence(quantity, time_ms, swing > limit, swing <= 0.8 * limit, facts)

    def _turns(self, moment: Moment, reading: Reading, value: float) -> Iterator[Evidence]:
        """Count the times that the temperature turns to falling, as when the plant starts."""
        known = self.memory.setdefault("plant", {}).get(reading.sensor)
        if known is None or not 0 < reading.time_ms - known["at_ms"] < HOUR_MS:
            if known is None or reading.time_ms > known["at_ms"]:
                self.memory["plant"][reading.sensor] = {
                    "at_ms": reading.time_ms,
                    "mean": value,
                    "above": False,
                    "starts": [],
                    "from_ms": reading.time_ms,
                }
            return
        seconds = (reading.time_ms - known["at_ms"]) / 1000.0
        known["at_ms"] = reading.time_ms
        known["mean"] += (value - known["mean"]) * seconds / (SETTLE_S + seconds)
        if not known["above"] and value > known["mean"] + TURN_K:
            known["above"] = True
        elif known["above"] and value < known["mean"] - TURN_K:
            known["above"] = False
            known["starts"].append(reading.time_ms)
        known["starts"] = [t for t in known["starts"] if t > reading.time_ms - STARTS_OVER_H * HOUR_MS]
        if reading.time_ms - known["from_ms"] < STARTS_OVER_H * HOUR_MS:
            return
        rate = len(known["starts"]) / STARTS_OVER_H
        facts = {"starts_per_h": rate, "wheels": wheels_at(moment, self.room, "")}
        limit = self.settings.starts_per_h
        time_ms = min(reading.time_ms, moment.now_ms)
        yield Evidence(f"starts|{reading.sensor}", time_ms, rate > limit, rate <= 0.8 * limit, facts)

    def _rewind(self, now_ms: int) -> None:
        super()._rewind(now_ms)
        self.memory.pop("plant", None)

    def finding(self, key: str, watch: Watch) -> Finding:
        facts, sensor = watch.facts, key.partition("|")[2]
        who = wheels_text(len(facts["wheels"]))
        if sensor:
            what = f"The plant of {self.room.name} starts {facts['starts_per_h']:.0f} times an hour"
            check = (
                "Is the thermostat's sensor in the cold air stream, its difference too small, the coil iced?"
            )
            effect, numbers = (
                "a compressor that starts so often wears out early",
                {"starts_per_h": facts["starts_per_h"]},
            )
        else:
            unit = "k" if key == "temperature" else "pct"
            swing = (
                difference_text(self.site, facts["swing"]) if unit == "k" else f"{facts['swing']:.0f} points"
            )
            what = f"{key.capitalize()} in {self.room.name} swings by {swing} within six hours"
            check = (
                "Is the door used a lot, the thermostat's or humidistat's difference too wide, a fan stopped?"
            )
            effect = f"rinds of {who} dry and take up water by turns, and may crack"
            numbers = {f"swing_{unit}": round(facts["swing"], 2), "defrosts": facts["defrosts"]}
        return Finding(
            rule=self.name,
            room=self.room.id,
            sensor=sensor,
            aspect="starts" if sensor else key,
            since_ms=watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            what=what,
            check_first=check,
            priority=Priority.LOW,
            effect=effect,
            wheels=tuple(facts["wheels"]),
            cause=self.air_cause,
            numbers=numbers,
        )


def without_defrosts(temperatures_c: list[float]) -> tuple[list[int], int]:
    """The indices of slots that belong to no defrost, and how many defrosts there were.

    A defrost is a short rise with lower air before and after it; one still running at the end counts too.
    """
    limit = median(temperatures_c) + DEFROST_RISE_K
    kept: list[int] = []
    run: list[int] = []
    defrosts = 0

    def close() -> None:
        nonlocal defrosts
        if 0 < len(run) <= DEFROST_SLOTS:
            defrosts += 1
        else:
            kept.extend(run)
        run.clear()

    for index, value in enumerate(temperatures_c):
        if value > limit:
            run.append(index)
        else:
            close()
            kept.append(index)
    close()
    return sorted(kept), defrosts
