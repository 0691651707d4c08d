"""Carbon dioxide, ammonia and oxygen where they are measured: a danger to people before it is one to cheese."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.records import GOOD_FLAGS, Reading
from monitor.rules.base import MINUTE_MS, Rule
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import STAY_OUT, place_name


@dataclass(frozen=True)
class Limit:
    """One limit of one gas: the setting that holds it, whether values below it count, and how urgent it is."""

    quantity: str
    aspect: str
    setting: str
    below: bool
    priority: Priority
    unit: str
    name: str


LIMITS = (
    Limit("carbon_dioxide", "carbon_dioxide-short", "carbon_dioxide_short_ppm", False, Priority.CRITICAL, "ppm", "Carbon dioxide"),
    Limit("carbon_dioxide", "carbon_dioxide-long", "carbon_dioxide_long_ppm", False, Priority.HIGH, "ppm", "Carbon dioxide"),
    Limit("ammonia", "ammonia-short", "ammonia_short_ppm", False, Priority.CRITICAL, "ppm", "Ammonia"),
    Limit("ammonia", "ammonia-long", "ammonia_long_ppm", False, Priority.HIGH, "ppm", "Ammonia"),
    Limit("oxygen", "oxygen-danger", "oxygen_danger_pct", True, Priority.CRITICAL, "%", "Oxygen"),
    Limit("oxygen", "oxygen-low", "oxygen_lowest_pct", True, Priority.HIGH, "%", "Oxygen"),
)  # fmt: skip
CAUTION = (
    "Stay out; air the room from outside first; never go in alone or to rescue without breathing apparatus; "
    "follow your local rules"
)


class GasesRule(Rule):
    """Gases: over the limits for people at work, whatever lies in the room.

    Carbon dioxide: 5,000 ppm over 8 h (OSHA PEL; UK and NIOSH REL the same; Directive 2006/15/EC from memory), 15,000 ppm
    over 15 min (UK).  Ammonia: 20 ppm over 8 h (Directive 2000/39/EC, from memory; NIOSH and ACGIH 25), 35 ppm over 15 min
    (NIOSH, ACGIH, UK).  Oxygen: 19.5 % (OSHA, as quoted); 18 % as danger is from memory.  These are time-weighted for
    people at work; here the value itself counts, the long limits after a delay, which is the safer side.  The limits
    that hold are those of your own country: set them.
    """

    name = "gases"

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        for reading in moment.readings_by_room.get(self.room.id, ()):
            if reading.value is not None and (reading.flag in GOOD_FLAGS):
                yield from self._of_reading(moment, reading, reading.value)

    def _of_reading(self, moment: Moment, reading: Reading, value: float) -> Iterator[Evidence]:
        for limit in LIMITS:
            if limit.quantity != reading.quantity:
                continue
            at = getattr(self.settings, limit.setting)
            out = value < at if limit.below else value >= at
            clear = value >= 1.01 * at if limit.below else value < 0.9 * at
            place = self.site.sensor_by_id[reading.sensor].place
            facts = {"value": value, "limit": at, "place": place}
            yield Evidence(
                f"{limit.aspect}|{reading.sensor}", min(reading.time_ms, moment.now_ms), out, clear, facts
            )

    def on_delay_ms(self, key: str) -> int:
        limit = _limit_of(key)
        return 0 if limit.priority is Priority.CRITICAL else round(self.settings.delay_min * MINUTE_MS)

    def alive(self, moment: Moment, key: str) -> bool:
        sensor = moment.site.sensor_by_id.get(key.partition("|")[2])
        return sensor is not None and sensor.room == self.room.id

    def finding(self, key: str, watch: Watch) -> Finding:
        facts, limit = watch.facts, _limit_of(key)
        sensor = key.partition("|")[2]
        digits = 1 if limit.unit == "%" else 0
        value, at = (f"{facts[k]:,.{digits}f} {limit.unit}" for k in ("value", "limit"))
        where = place_name(self.room, facts["place"])
        return Finding(
            rule=self.name,
            room=self.room.id,
            place=facts["place"],
            sensor=sensor,
            aspect=limit.aspect,
            since_ms=watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            what=f"{limit.name} at {where} ({self.room.name}): {value}, {'under' if limit.below else 'over'} {at}",
            short=f"{STAY_OUT}{self.room.name}: {limit.name.lower()} {value}",
            check_first=CAUTION,
            priority=limit.priority,
            effect="people in the room are in danger before they notice",
            cause=f"gas:{self.room.id}",
            numbers={f"value_{'pct' if limit.unit == '%' else limit.unit}": facts["value"]},
        )


def _limit_of(key: str) -> Limit:
    aspect = key.partition("|")[0]
    return next(limit for limit in LIMITS if limit.aspect == aspect)
