"""A place that parts from the rest of its room: a door near it, a fan, a coil, or its sensor."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from monitor.clock import TEN_MINUTES_MS
from monitor.rules.base import wheels_at
from monitor.rules.course import Allowed, Course
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.slots import RoomSlotRule
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import difference_text, listed, place_name, temperature_text, wheels_text

TEMPERATURE, HUMIDITY = range(2)
KINDS = ((1, TEMPERATURE), (-1, TEMPERATURE), (-1, HUMIDITY))
"""Changes that are watched.  Damper air at one place is left out: near saturation sensors differ by what they can show."""
RANGE_SHARE = 0.3
"""A change must pass the usual by this share of the place's usual range over some hours."""
LEAST_PLACES = 3
"""With fewer nobody can say which of them parts from the others."""
TURNED = {(1, TEMPERATURE): "warmer", (-1, TEMPERATURE): "cooler", (-1, HUMIDITY): "drier"}


class PlaceApartRule(RoomSlotRule):
    """A place apart: for half an hour further from the room's other places than on any of the last days at this hour.

    A door ajar, a stopped fan or an iced coil changes the air of the places nearest to it first, and the difference
    between places leaves out weather, work and humidifiers, which move them all.  Told by temperature and humidity
    beside what the place usually has when the others have theirs; the test is that of unusual air.
    In a room without wheels it is of low priority.  Common practice, no source.
    """

    name = "place_apart"

    def of_slot(self, moment: Moment, start_ms: int, places: dict[str, list[float]]) -> Iterator[Evidence]:
        if len(places) < LEAST_PLACES:
            return
        unlike = [place for place in places if self._course(place).event is not None]
        middle = self.middle(places, unlike)
        for place, values in sorted(places.items()):
            usual, course = self.usual_at(place, middle), self._course(place)
            if course.closed(start_ms, [v - u for v, u in zip(values, usual, strict=True)]):
                event = course.event
                facts = {}
                if event is not None:
                    facts = {
                        "from_ms": event["from_ms"],
                        "kind": event["over"][0],
                        "air": values,
                        "usual": usual,
                        "there": wheels_at(moment, self.room, place),
                        "in_room": wheels_at(moment, self.room, ""),
                    }
                yield Evidence(place, start_ms + TEN_MINUTES_MS, event is not None, event is None, facts)

    def _course(self, place: str) -> Course:
        own = self.settings
        allowed = Allowed(
            own.times_usual,
            (own.temperature_margin_k, own.humidity_margin_pct),
            RANGE_SHARE,
            own.usual_days,
            own.stands_h,
        )
        return Course(self.memory.setdefault("places", {}).setdefault(place, {}), KINDS, allowed)

    def alive(self, moment: Moment, key: str) -> bool:
        return any(sensor.place == key for sensor in self.sensors)

    def _rewind(self, now_ms: int) -> None:
        super()._rewind(now_ms)
        for place in self.memory.get("places", ()):
            self._course(place).rewind(now_ms)

    def finding(self, key: str, watch: Watch) -> Finding:
        facts, where = watch.facts, place_name(self.room, key)
        side, quantity = KINDS[facts["kind"]]
        there, usual = facts["air"][quantity], facts["usual"][quantity]
        by = self._amount(quantity, abs(there - usual))
        turned = f"{by} {TURNED[side, quantity]} beside the other places than usual"
        is_, by_others = (self._reading(quantity, value) for value in (there, usual))
        return Finding(
            rule=self.name,
            room=self.room.id,
            since_ms=min(facts["from_ms"], watch.seen_ms),
            seen_ms=watch.seen_ms,
            what=f"{where} ({self.room.name}) is {turned}: {is_} there, {by_others} by the others",
            short=f"{where} in {self.room.name} {turned}",
            check_first="Is a door or vent open there? Does the fan turn, is the coil free of ice? Then: its sensor",
            priority=Priority.MEDIUM if facts["in_room"] else Priority.LOW,
            effect=_effect(facts["there"], facts["in_room"]),
            wheels=tuple(facts["there"] or facts["in_room"]),
            cause=self.air_cause,
            numbers={
                "temperature_c": round(facts["air"][0], 2),
                "rh_pct": round(facts["air"][1], 1),
                "usual_c": round(facts["usual"][0], 2),
                "usual_pct": round(facts["usual"][1], 1),
                "place": key,
                "places": [key],
            },
        )

    def _amount(self, quantity: int, value: float) -> str:
        return f"{value:.1f} points" if quantity == HUMIDITY else difference_text(self.site, value)

    def _reading(self, quantity: int, value: float) -> str:
        return f"{value:.1f} %" if quantity == HUMIDITY else temperature_text(self.site, value)

    def merge(self, findings: list[Finding]) -> Iterable[Finding]:
        """One finding for the room, told by the place that was first: what moves one place often moves others."""
        if not findings:
            return []
        first, *others = sorted(findings, key=lambda f: (f.since_ms, _place(f)))
        if not others:
            return [first]
        names = listed([place_name(self.room, _place(f)) for f in others])
        return [
            replace(
                first,
                what=f"{first.what}; also unlike usual: {names}",
                numbers={**first.numbers, "places": [_place(f) for f in (first, *others)]},
                wheels=tuple(dict.fromkeys(w for f in (first, *others) for w in f.wheels)),
            )
        ]


def _effect(there: list[str], in_room: list[str]) -> str:
    if there:
        return f"{wheels_text(len(there))} there in other air than the rest of the room"
    return f"no wheels there; {wheels_text(len(in_room))} in the room may be next" if in_room else ""


def _place(finding: Finding) -> str:
    return str(finding.numbers["place"])
