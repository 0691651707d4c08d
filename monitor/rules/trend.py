"""Air that leaves what is usual at its place and heads out of the band: told before the band is left."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from monitor.records import AirRecord
from monitor.rules.base import MINUTE_MS, contents_at, stage_of
from monitor.rules.contents_rule import all_wheels
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment, evidence_time
from monitor.rules.slots import Slot, SlotRule, Usual
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import difference_text, place_name, span_text, temperature_text, wheels_text

HOUR_MS = 3_600_000
SUSTAINED = 3
"""Slots that a value must have lasted: half an hour outlasts a door, a visit and most of a defrost."""
COLUMN = {"temperature": 1, "humidity": 2}
CHECK_FIRST = {
    "temperature-high": "Does the compressor run, the fan turn, is the coil free of ice, the door shut?",
    "temperature-low": "Is the cooling stuck on, its thermostat moved, a vent open to cold air?",
    "humidity-high": "Is the humidifier stuck on, water on the floor, the door shut?",
    "humidity-low": "Has the humidifier water, is the door shut, is dry outside air coming in?",
}
DOOR_FIRST = "Is the door shut? Temperature and humidity left their usual range together"
WILL = {
    "temperature-high": "ripen and dry faster than intended",
    "temperature-low": "ripen slower than intended",
    "humidity-high": "dry slower than intended, unwanted mould may take hold",
    "humidity-low": "dry faster than intended, rinds may crack",
}
TOGETHER_MS = 1_800_000


class TrendRule(SlotRule):
    """Trend: beyond the usual range of the place for half an hour, and leaving the band within ``within_h`` hours.

    Usual is what the place's own last days held (`monitor.rules.slots.Usual`); a rise by itself says little, since doors,
    defrosts and visits make one every day.  It is over once the air is back within what was usual when it began, or
    after ``longest_h`` hours: by then the new air is what is usual.  The rate is that of the last hour; people and washing
    lift humidity for less, so that has a delay of its own.  Common practice, no source.
    """

    name = "trend"
    kept = 2 * SUSTAINED

    def of_place(self, moment: Moment, record: AirRecord, recent: list[Slot]) -> Iterator[Evidence]:
        if len(recent) < self.kept:
            return
        entries = contents_at(moment, self.room, record.place, self.newest)
        stages = [stage for entry in entries if (stage := stage_of(self.site, entry)) is not None]
        if not stages:
            return
        wheels = [wheel for entry in entries for wheel in entry.wheels]
        for quantity, bands in (
            ("temperature", [s.temperature_c for s in stages]),
            ("humidity", [s.rh_pct for s in stages]),
        ):
            usual = self._usual(record.place, quantity).range()
            if usual is None:
                continue
            values = [slot[COLUMN[quantity]] for slot in recent]
            limits = max(b[0] for b in bands), min(b[1] for b in bands)
            for side in ("low", "high"):
                key, time_ms = f"{record.place}|{quantity}-{side}", evidence_time(record, moment.now_ms)
                out, clear, facts = self._side(
                    quantity, side, values, self._when_begun(key, time_ms) or usual, limits
                )
                facts |= {"place": record.place, "wheels": wheels}
                yield Evidence(key, time_ms, out, clear, facts)

    def _when_begun(self, key: str, time_ms: int) -> tuple[float, float] | None:
        """What was usual when a condition that stands began; None where none does, or since too long ago."""
        watch = self.watches.get(key)
        if watch is None or not watch.on or watch.since_ms is None:
            return None
        too_long = time_ms - watch.since_ms > self.settings.longest_h * HOUR_MS
        known = watch.facts.get("usual_range")
        return None if too_long or known is None else (known[0], known[1])

    def on_delay_ms(self, key: str) -> int:
        own = self.settings
        return round((own.damp_delay_min if key.endswith("|humidity-high") else own.delay_min) * MINUTE_MS)

    def _side(
        self,
        quantity: str,
        side: str,
        values: list[float],
        usual: tuple[float, float],
        limits: tuple[float, float],
    ) -> tuple[bool, bool, dict[str, Any]]:
        """Whether the condition holds, whether it is over, and what there is to say; all worked out as if rising."""
        own = self.settings
        sign, at = (1.0, 1) if side == "high" else (-1.0, 0)
        margin = own.temperature_margin_k if quantity == "temperature" else own.humidity_margin_pct
        lasting = min(sign * v for v in values[-SUSTAINED:])
        newest, limit = sign * values[-1], sign * limits[at]
        rate = sign * (sum(values[-SUSTAINED:]) - sum(values[:SUSTAINED])) / SUSTAINED * 2.0
        hours = 0.0 if newest > limit else (limit - newest) / rate if rate > 0 else None
        beyond = lasting > sign * usual[at] + margin
        out = beyond and hours is not None and hours <= own.within_h
        facts = {
            "value": values[-1],
            "usual": usual[at],
            "usual_range": list(usual),
            "limit": limits[at],
            "rate": sign * rate,
            "hours": hours,
        }
        return out, newest <= sign * usual[at], facts

    def finish(self, place: str, recent: list[Slot]) -> None:
        if len(recent) < SUSTAINED:
            return
        for quantity, column in COLUMN.items():
            values = [slot[column] for slot in recent[-SUSTAINED:]]
            # The highest that lasted is the lowest of the last slots, and the other way round.
            self._usual(place, quantity).update(recent[-1][0], max(values), min(values))

    def _usual(self, place: str, quantity: str) -> Usual:
        days = self.memory.setdefault("usual", {}).setdefault(f"{place}|{quantity}", [])
        return Usual(days, self.settings.usual_days)

    def alive(self, moment: Moment, key: str) -> bool:
        return self.room.id in moment.contents_by_room

    def finding(self, key: str, watch: Watch) -> Finding:
        facts = watch.facts
        place, aspect = key.split("|")
        value, usual = self._text(aspect, facts["value"]), self._text(aspect, facts["usual"])
        who = wheels_text(len(facts["wheels"]))
        high = aspect.endswith("high")
        unit = "c" if aspect.startswith("temperature") else "pct"
        quantity, beside = aspect.split("-")[0], f"{'over' if high else 'under'} the {usual} of the last days"
        return Finding(
            rule=self.name,
            room=self.room.id,
            aspect=aspect,
            since_ms=watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            what=f"{quantity.capitalize()} at {place_name(self.room, place)} is {value}, "
            f"{beside}{self._ahead(aspect, facts)}",
            short=f"{quantity} {value} at {place_name(self.room, place)}, {beside}",
            check_first=DOOR_FIRST if self._both_left(watch) else CHECK_FIRST[aspect],
            priority=Priority.MEDIUM,
            effect=f"{who} will {WILL[aspect]}",
            wheels=tuple(facts["wheels"]),
            cause=self.air_cause,
            numbers={
                f"value_{unit}": facts["value"],
                f"usual_{unit}": facts["usual"],
                f"band_limit_{unit}": facts["limit"],
                f"rate_{'k' if unit == 'c' else unit}_per_h": round(facts["rate"], 2),
                "hours_to_limit": facts["hours"],
                "places": [place] if place else [],
            },
        )

    def _ahead(self, aspect: str, facts: dict[str, Any]) -> str:
        hours = facts["hours"]
        if hours is None or hours <= 0:
            return ""
        rate = abs(facts["rate"])
        speed = (
            difference_text(self.site, rate, 2) if aspect.startswith("temperature") else f"{rate:.1f} points"
        )
        return f"; at {speed} an hour it leaves the band in {span_text(hours * HOUR_MS)}"

    def _text(self, aspect: str, value: float) -> str:
        return temperature_text(self.site, value) if aspect.startswith("temperature") else f"{value:.1f} %"

    def _both_left(self, watch: Watch) -> bool:
        """Whether temperature and humidity left what is usual at about the same time, as an open door makes them."""
        begun = {
            key.split("|")[1].split("-")[0]: other.since_ms
            for key, other in self.watches.items()
            if other.since_ms is not None
            and watch.since_ms is not None
            and abs(other.since_ms - watch.since_ms) <= TOGETHER_MS
        }
        return len(begun) == 2

    def merge(self, findings: list[Finding]) -> Iterable[Finding]:
        """One finding for a quantity and side, told by the place that was first."""
        groups: dict[str, list[Finding]] = {}
        for finding in findings:
            groups.setdefault(finding.aspect, []).append(finding)
        for group in groups.values():
            first = min(group, key=lambda f: f.since_ms)
            places = sorted({p for f in group for p in f.numbers["places"]})  # type: ignore[attr-defined]
            yield replace(
                first,
                seen_ms=max(f.seen_ms for f in group),
                wheels=all_wheels(group),
                effect=f"{wheels_text(len(all_wheels(group)))} will {WILL[first.aspect]}",
                numbers={**first.numbers, "places": places},
            )
