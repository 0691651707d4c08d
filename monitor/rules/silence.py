"""A sensor gone quiet: nobody watches the air where it was."""

from __future__ import annotations

from collections.abc import Iterator

from monitor.rules.base import MINUTE_MS, Rule, wheels_at
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import place_name, span_text, wheels_text
from monitor.site import Sensor, is_contact_only


class SilenceRule(Rule):
    """Silence: no reading for ``intervals`` of the sensor's own expected interval, and at least ``least_min``.

    A sensor never heard from counts from the rule's first moment.  Three intervals: one lost message is no
    silence, a dead sensor is.  While half of the room or more is heard, a lone silence is of low priority for ``lone_min``:
    most are a radio that comes back by itself.  So is that of a contact at a door or in a tank, and it hides no air.
    Common practice, no source.
    """

    name = "silence"

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        first = int(self.memory.setdefault("first_ms", moment.now_ms))
        if first > moment.now_ms:
            first = self.memory["first_ms"] = moment.now_ms
        quiet_ms = {s.id: self._quiet_ms(moment, s, first) for s in self.sensors}
        silent = {s.id for s in self.sensors if quiet_ms[s.id] > 1000 * self.settings.longest_s(s.interval_s)}
        of_air = [s.id for s in self.sensors if not is_contact_only(s)]
        few = 2 * len(silent.intersection(of_air)) <= len(of_air)
        for sensor in self.sensors:
            out, watch = sensor.id in silent, self.watches.get(sensor.id)
            facts = {}
            if out or (watch is not None and watch.on):
                facts = {
                    "last_ms": moment.last_seen.get(sensor.id),
                    "place": sensor.place,
                    "wheels": wheels_at(moment, self.room, sensor.place),
                    "interval_s": sensor.interval_s,
                    "lone": is_contact_only(sensor)
                    or (few and quiet_ms[sensor.id] < self.settings.lone_min * MINUTE_MS),
                    "contact": is_contact_only(sensor),
                }
            yield Evidence(sensor.id, moment.now_ms, out, not out, facts)

    def _quiet_ms(self, moment: Moment, sensor: Sensor, first_ms: int) -> int:
        heard = moment.last_seen.get(sensor.id)
        return moment.now_ms - min(first_ms if heard is None else heard, moment.now_ms)

    def alive(self, moment: Moment, key: str) -> bool:
        sensor = moment.site.sensor_by_id.get(key)
        return sensor is not None and sensor.room == self.room.id

    def finding(self, key: str, watch: Watch) -> Finding:
        facts = watch.facts
        last, wheels = facts["last_ms"], facts["wheels"]
        quiet = "never heard from" if last is None else f"silent for {span_text(watch.seen_ms - last)}"
        where = place_name(self.room, facts["place"])
        return Finding(
            rule=self.name,
            room=self.room.id,
            place=facts["place"],
            sensor=key,
            since_ms=last if last is not None else watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            what=f"Sensor {key} at {where} {quiet}",
            check_first="Has the sensor power or a fresh battery, and does it reach the network?",
            priority=Priority.MEDIUM if wheels and not facts.get("lone") else Priority.LOW,
            effect=_effect(bool(facts.get("contact")), len(wheels)),
            wheels=tuple(wheels),
            numbers={"expected_interval_s": facts["interval_s"], "last_seen_ms": last},
        )


def _effect(contact: bool, wheels: int) -> str:
    if contact:
        return "whether its door stands open or its tank is low is not known"
    return f"the air around {wheels_text(wheels)} is not watched" if wheels else ""
