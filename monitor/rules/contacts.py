"""What a contact says outright: a door that stands open, a humidifier's tank that is low on water."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from monitor.records import CONTACTS, GOOD_FLAGS, Reading
from monitor.rules.base import MINUTE_MS, Rule, wheels_at
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import span_text, wheels_text


@dataclass(frozen=True)
class Words:
    """What is said of one contact; texts may hold ``{room}``, ``{span}`` and ``{wheels}``."""

    aspect: str
    what: str
    effect: str
    check_first: str


WORDS: dict[str, Words] = {
    "door_open": Words(
        "door-open",
        "Door of {room} has stood open for {span}",
        "outside air reaches {wheels} and dries, wets or warms them unevenly, those by the door most",
        "Shut the door to its seal. Is it shut? Then see whether the magnet still meets its contact",
    ),
    "water_low": Words(
        "water-low",
        "Humidifier of {room} has been low on water for {span}",
        "once the tank is dry the air dries, and {wheels} with it; rinds may crack",
        "Is the water supply open, the filter clear, the float free? Cut the mains before opening a humidifier",
    ),
}


class ContactsRule(Rule):
    """Contacts: a door open for longer than ``door_open_min``, a humidifier's tank low for longer than ``water_low_min``.

    A state lasts until its contact says otherwise, so both are judged by the clock and not only when a reading comes; a
    contact that says nothing any more is for silence to tell.  A door that is shut in between starts anew.  What is in
    ``quantities`` of a sensor counts; in a room without wheels it is of low priority.  Both times are common practice,
    no source: carrying wheels in takes minutes, and a tank that fills itself is low for one or two.
    """

    name = "contacts"

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        states = self._states()
        for key in [key for key in states if not self._is_known(moment, key)]:
            del states[key]
        for reading in moment.readings_by_room.get(self.room.id, ()):
            key = f"{reading.sensor}|{reading.quantity}"
            if self._is_state(reading) and self._is_known(moment, key) and self._take(key, reading, moment):
                yield Evidence(key, moment.now_ms, out=False, clear=True)
        wheels = wheels_at(moment, self.room, "")
        for key, state in states.items():
            watch = self.watches.get(key)
            lasting = moment.now_ms - state["since_ms"] >= self._longest_ms(key)
            out = bool(state["on"]) and (lasting or (watch is not None and watch.on))
            facts = {"since_ms": state["since_ms"], "wheels": wheels} if out else {}
            yield Evidence(key, moment.now_ms, out, not out, facts)

    def _states(self) -> dict[str, dict[str, Any]]:
        """By contact (sensor and quantity): whether it is on, since when [ms], and the time of its newest reading [ms]."""
        states: dict[str, dict[str, Any]] = self.memory.setdefault("states", {})
        return states

    @staticmethod
    def _is_state(reading: Reading) -> bool:
        return reading.quantity in CONTACTS and reading.value in (0.0, 1.0) and reading.flag in GOOD_FLAGS

    def _take(self, key: str, reading: Reading, moment: Moment) -> bool:
        """Take in a state; whether it is an end of what stood.  What is not newer than the newest is no news."""
        states, on = self._states(), reading.value == 1.0
        known = states.get(key)
        if known is not None and reading.time_ms <= known["last_ms"]:
            return False
        since_ms = min(reading.time_ms, moment.now_ms)
        if known is None or known["on"] != on:
            states[key] = {"on": on, "since_ms": since_ms, "last_ms": reading.time_ms}
            return not on
        known["last_ms"] = reading.time_ms
        return False

    def _longest_ms(self, key: str) -> float:
        minutes: float = getattr(self.settings, f"{key.partition('|')[2]}_min")
        return minutes * MINUTE_MS

    def _is_known(self, moment: Moment, key: str) -> bool:
        name, _, quantity = key.partition("|")
        sensor = moment.site.sensor_by_id.get(name)
        return sensor is not None and sensor.room == self.room.id and quantity in sensor.quantities

    def alive(self, moment: Moment, key: str) -> bool:
        return self._is_known(moment, key)

    def _rewind(self, now_ms: int) -> None:
        super()._rewind(now_ms)
        for state in self._states().values():
            state["since_ms"], state["last_ms"] = (min(state[t], now_ms) for t in ("since_ms", "last_ms"))

    def finding(self, key: str, watch: Watch) -> Finding:
        sensor, _, quantity = key.partition("|")
        words, facts = WORDS[quantity], watch.facts
        lasted_ms = max(0, watch.seen_ms - facts["since_ms"])
        several = sum(quantity in s.quantities for s in self.sensors) > 1
        room = f"{self.room.name} ({sensor})" if several else self.room.name
        what = words.what.format(room=room, span=span_text(lasted_ms))
        return Finding(
            rule=self.name,
            room=self.room.id,
            aspect=f"{words.aspect}-{sensor}" if several else words.aspect,
            since_ms=min(facts["since_ms"], watch.seen_ms),
            seen_ms=watch.seen_ms,
            what=what,
            check_first=words.check_first,
            priority=Priority.MEDIUM if facts["wheels"] else Priority.LOW,
            effect=words.effect.format(wheels=wheels_text(len(facts["wheels"]))) if facts["wheels"] else "",
            wheels=tuple(facts["wheels"]),
            cause=self.air_cause,
            numbers={"lasted_ms": lasted_ms},
        )
