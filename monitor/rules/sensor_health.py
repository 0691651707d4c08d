"""A sensor that cannot be trusted: stuck, spiking, wet, off the others, low on battery, wrong in time, or due for calibration."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from monitor.climate.sensor_watch import SensorState
from monitor.clock import to_ms
from monitor.records import Reading
from monitor.rules.base import MINUTE_MS, Rule, wheels_at
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import difference_text, place_name, span_text, wheels_text
from monitor.site import Sensor
from monitor.site.calibration_dates import first_due_at

Look = tuple[str, bool, bool, Any]
"""A trouble, whether it is there, whether it is surely gone, and how much of it."""


@dataclass(frozen=True)
class Words:
    """What is said of one trouble; ``what`` may hold ``{amount}``."""

    what: str
    check_first: str
    priority: Priority
    delayed: bool = False


WORDS: dict[str, Words] = {
    "stuck": Words(
        "repeats one value, {amount} now",
        "Breathe on it: does it move? Take it off power and on again, or exchange it",
        Priority.MEDIUM,
    ),
    "spiking": Words(
        "jumps about: {amount} of its last readings were spikes",
        "Is its plug or cable wet, its battery low, a strong motor beside it?",
        Priority.LOW,
        delayed=True,
    ),
    "wet": Words(
        "stands at 100 %: {amount} of its last readings were at the end of its range",
        "Is it wet? Dry it, hang it out of the mist; then compare it with another",
        Priority.LOW,
        delayed=True,
    ),
    "drift-temperature": Words(
        "has moved by {amount} against the others in its room",
        "Hang another sensor beside it for a day; then calibrate it or exchange it",
        Priority.MEDIUM,
    ),
    "drift-humidity": Words(
        "has moved by {amount} against the others in its room",
        "Check it over salt (maturing-room salt), then calibrate it or exchange it",
        Priority.MEDIUM,
    ),
    "battery": Words("has a low battery: {amount}", "Put in a fresh battery", Priority.LOW, delayed=True),
    "clock": Words(
        "has a wrong clock: {amount} off",
        "Set its clock, or let it send without a time",
        Priority.LOW,
        delayed=True,
    ),
    "calibration": Words(
        "was due for calibration {amount} ago",
        "Check it over salt or ice and enter what it read",
        Priority.LOW,
    ),
}


class SensorHealthRule(Rule):
    """Sensor health, from how the quality tests judged its readings and from the others in its room.

    The tests are those of QARTOD (U.S. IOOS, real-time quality control), told by `monitor.climate.sensor_watch`; drift
    is the median of the newest days against the first, off the median of at least two others.  A capacitive sensor in
    wet air drifts by some 0.25 to 0.5 % RH a year and creeps by up to 3 % (makers' data sheets, SHT20 2011); limits
    here are common practice, no source.
    """

    name = "sensor_health"

    def reset(self) -> None:
        super().reset()
        self._states: Mapping[str, SensorState] | None = None

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        arrived: dict[str, list[Reading]] = {}
        for reading in moment.readings_by_room.get(self.room.id, ()):
            arrived.setdefault(reading.sensor, []).append(reading)
        states_are_new = moment.sensors is not self._states
        self._states = moment.sensors
        for sensor in self.sensors:
            wheels: list[str] | None = None
            looks = list(self._of_readings(moment, sensor, arrived.get(sensor.id, [])))
            if states_are_new:
                looks += self._of_sensor(moment, sensor)
            for aspect, out, clear, amount in looks:
                if out and wheels is None:
                    wheels = wheels_at(moment, self.room, sensor.place)
                facts = {"amount": amount, "place": sensor.place, "wheels": wheels or []} if out else {}
                standing = self.watches.get(f"{sensor.id}|{aspect}")
                if not out and standing is not None and standing.on:
                    facts = standing.facts
                yield Evidence(f"{sensor.id}|{aspect}", moment.now_ms, out, clear, facts)

    def _of_sensor(self, moment: Moment, sensor: Sensor) -> Iterator[Look]:
        """What the state of a sensor and the date of its calibration show."""
        state = moment.sensors.get(sensor.id)
        if state is not None:
            yield from self._of_state(moment, state)
        due = first_due_at(sensor)
        if due is not None:
            late_ms = moment.now_ms - to_ms(due)
            yield "calibration", late_ms > 0, late_ms <= 0, late_ms

    def _of_state(self, moment: Moment, state: SensorState) -> Iterator[Look]:
        own, since = self.settings, state.stuck_since_ms
        yield "stuck", since is not None, since is None, None if since is None else moment.now_ms - since
        yield from (
            ("spiking", *_over(state.spiking_share, own.spiking_share), state.spiking_share),
            ("wet", *_over(state.at_end_share, own.at_end_share), state.at_end_share),
        )
        for quantity, limit in (("temperature", own.drift_k), ("humidity", own.drift_pct)):
            if quantity in state.drift:
                drift = state.drift[quantity]
                yield f"drift-{quantity}", *_over(abs(drift), limit), drift
        if state.battery_pct is not None:
            low = own.lowest_battery_pct
            yield (
                "battery",
                state.battery_pct < low,
                state.battery_pct > low + 5.0,
                ["pct", state.battery_pct],
            )

    def _of_readings(self, moment: Moment, sensor: Sensor, arrived: list[Reading]) -> Iterator[Look]:
        for reading in arrived:
            if reading.quantity == "battery_voltage" and reading.value is not None:
                low = self.settings.lowest_battery_v
                yield "battery", reading.value < low, reading.value > low + 0.05, ["v", reading.value]
        if arrived:
            # What a sensor held back for a while comes in a burst that reaches to now; a wrong clock never does.
            off_ms = max(r.time_ms for r in arrived) - moment.now_ms
            limit_ms = self.settings.clock_off_min * MINUTE_MS
            late = -off_ms > limit_ms + 2 * sensor.interval_s * 1000
            out = off_ms > limit_ms or late
            yield "clock", out, not out, off_ms

    def on_delay_ms(self, key: str) -> int:
        aspect = key.partition("|")[2]
        return round(self.settings.delay_min * MINUTE_MS) if WORDS[aspect].delayed else 0

    def alive(self, moment: Moment, key: str) -> bool:
        sensor = moment.site.sensor_by_id.get(key.partition("|")[0])
        return sensor is not None and sensor.room == self.room.id

    def finding(self, key: str, watch: Watch) -> Finding:
        facts = watch.facts
        sensor, _, aspect = key.partition("|")
        words, wheels = WORDS[aspect], facts["wheels"]
        where = place_name(self.room, facts["place"])
        trusted = aspect in ("battery", "calibration", "clock")
        effect = "" if trusted else f"what it says of the air around {wheels_text(len(wheels))} may be wrong"
        since_ms = watch.since_ms or watch.seen_ms
        if aspect == "stuck":
            since_ms = min(since_ms, watch.seen_ms - int(facts["amount"]))
        return Finding(
            rule=self.name,
            room=self.room.id,
            place=facts["place"],
            sensor=sensor,
            aspect=aspect,
            since_ms=since_ms,
            seen_ms=watch.seen_ms,
            what=f"Sensor {sensor} at {where} {words.what.format(amount=self._amount(aspect, facts['amount']))}",
            check_first=words.check_first,
            priority=words.priority if wheels or words.priority is Priority.LOW else Priority.LOW,
            effect=effect,
            wheels=tuple(wheels),
            cause=f"sensor:{sensor}",
            numbers=_numbers(aspect, facts["amount"]),
        )

    def _amount(self, aspect: str, amount: Any) -> str:
        if aspect in ("stuck", "clock", "calibration"):
            return ("for " if aspect == "stuck" else "") + span_text(abs(amount))
        if aspect == "drift-temperature":
            return difference_text(self.site, amount)
        if aspect == "drift-humidity":
            return f"{amount:+.1f} points of humidity"
        if aspect == "battery":
            return f"{amount[1]:.0f} %" if amount[0] == "pct" else f"{amount[1]:.2f} V"
        return f"{100 * amount:.0f} %"


def _over(value: float, limit: float) -> tuple[bool, bool]:
    """Whether a value is over a limit, and whether it is back under four fifths of it."""
    return value > limit, value <= 0.8 * limit


def _numbers(aspect: str, amount: Any) -> dict[str, object]:
    if aspect in ("stuck", "clock", "calibration"):
        return {f"{'off' if aspect == 'clock' else 'for'}_ms": amount}
    if aspect == "battery":
        return {f"battery_{amount[0]}": amount[1]}
    unit = {"drift-temperature": "drift_k", "drift-humidity": "drift_pct"}.get(aspect, "share")
    return {unit: round(float(amount), 3)}
