"""Dew on a rind or another surface, and air so near saturation for so long that nothing dries."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from monitor.records import GOOD_FLAGS, AirRecord, Contents
from monitor.rind.condensation import margin_with_doubt
from monitor.rules.base import MINUTE_MS, Rule, contents_at, wheels_at
from monitor.rules.contents_rule import all_wheels, sureness
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment, evidence_time
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import place_name, temperature_text, wheels_text

TWIN_HELD_MS = 2 * 3_600_000
"""How old [ms] what a twin says of a rind's temperature may be."""
CLEAR_K, CLEAR_PCT = 0.3, 1.0
TWIN_SIGMA_K = 0.3
CHECK_FIRST = (
    "Is warm, damp air coming in at the door, water on the floor, the humidifier stuck on, the fan still"
)


class FreeWaterRule(Rule):
    """Free water: a rind or a surface colder than the dew point of its air, or air at saturation for hours.

    Dew point from the air record over water or ice (Hyland & Wexler 1983, as in the ASHRAE Handbook); a surface from its
    own sensor, a rind from its twin.  Delays and what counts as saturated are common practice, no source: a little dew
    after loading cold wheels is no harm, a wet rind for a night is.  Air at saturation wets wood and rinds, which takes a day
    to go: for so long it stands when it comes and goes.
    """

    name = "free_water"

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        surfaces = self.memory.setdefault("surfaces", {})
        for reading in moment.readings_by_room.get(self.room.id, ()):
            is_surface = reading.quantity == "surface_temperature" and reading.flag in GOOD_FLAGS
            if is_surface and reading.value is not None:
                surfaces[reading.sensor] = [reading.time_ms, reading.value]
        for record in self.new_air(moment):
            if record.temperature_c is None or record.rh_pct is None:
                continue
            time_ms = evidence_time(record, moment.now_ms)
            yield self._saturated(moment, record, time_ms)
            for sensor, (at_ms, value) in surfaces.items():
                known = self.site.sensor_by_id.get(sensor)
                if known and known.place == record.place and abs(time_ms - at_ms) <= TWIN_HELD_MS:
                    wheels = wheels_at(moment, self.room, record.place)
                    yield self._dew(record, time_ms, f"surface|{record.place}|{sensor}", value, wheels)
            yield from self._rinds(moment, record, time_ms)

    def _saturated(self, moment: Moment, record: AirRecord, time_ms: int) -> Evidence:
        assert record.rh_pct is not None
        limit = self.settings.saturated_pct
        out, clear = record.rh_pct >= limit, record.rh_pct < limit - CLEAR_PCT
        key, facts = f"saturated|{record.place}|", {}
        if out or not clear or (key in self.watches and self.watches[key].on):
            facts = {
                "rh_pct": record.rh_pct,
                "place": record.place,
                "wheels": wheels_at(moment, self.room, record.place),
                "sure": sureness(record.rh_pct - limit, record.rh_sigma_pct),
            }
        return Evidence(key, time_ms, out, clear, facts)

    def _rinds(self, moment: Moment, record: AirRecord, time_ms: int) -> Iterator[Evidence]:
        if not moment.rinds:
            return
        for entry in contents_at(moment, self.room, record.place, self.newest):
            coldest = self._coldest(moment, entry, time_ms)
            if coldest is not None:
                key = f"rind|{record.place}|{entry.style}"
                yield self._dew(record, time_ms, key, coldest, list(entry.wheels), TWIN_SIGMA_K)

    def _coldest(self, moment: Moment, entry: Contents, time_ms: int) -> float | None:
        rinds = (moment.rinds.get(wheel) for wheel in entry.wheels)
        known = (
            rind.surface_temperature_c
            for rind in rinds
            if rind is not None
            and rind.surface_temperature_c is not None
            and abs(time_ms - rind.at_ms) <= TWIN_HELD_MS
        )
        return min(known, default=None)

    def _dew(
        self,
        record: AirRecord,
        time_ms: int,
        key: str,
        surface_c: float,
        wheels: list[str],
        sigma_surface_k: float = 0.3,
    ) -> Evidence:
        if record.dew_point_c is None:
            return Evidence(key, time_ms, False, False)
        limit, margin = self.settings.dew_margin_k, surface_c - record.dew_point_c
        out, clear = margin < limit, margin >= limit + CLEAR_K
        if clear and not out:
            return Evidence(key, time_ms, out, clear)
        found = margin_with_doubt(
            record.temperature_c,
            min(record.rh_pct or 0.0, 100.0),
            surface_c,
            sigma_temperature_c=record.temperature_sigma_k or 0.0,
            sigma_rh_pct=record.rh_sigma_pct or 0.0,
            sigma_surface_c=sigma_surface_k,
        )
        sigma = float(found.sigma)
        facts = {
            "margin": margin,
            "surface": surface_c,
            "dew_point": record.dew_point_c,
            "place": record.place,
            "wheels": wheels,
            "sure": sureness(limit - margin, sigma if math.isfinite(sigma) else None),
        }
        return Evidence(key, time_ms, out, clear, facts)

    def on_delay_ms(self, key: str) -> int:
        own = self.settings
        return round((own.saturated_min if key.startswith("saturated") else own.dew_delay_min) * MINUTE_MS)

    def off_delay_ms(self, key: str) -> int:
        return round(self.settings.saturated_off_min * MINUTE_MS) if key.startswith("saturated") else 0

    def finding(self, key: str, watch: Watch) -> Finding:
        facts, (kind, place, what_of) = watch.facts, key.split("|")
        where = place_name(self.room, place)
        who = wheels_text(len(facts["wheels"]))
        if kind == "saturated":
            state = "is" if facts["rh_pct"] >= self.settings.saturated_pct - CLEAR_PCT else "was lately"
            now = "" if state == "is" else "now "
            what = f"Air at {where} {state} at saturation: {now}{facts['rh_pct']:.1f} %"
            numbers: dict[str, Any] = {"rh_pct": facts["rh_pct"], "places": [place] if place else []}
        else:
            surface, dew = (temperature_text(self.site, facts[k]) for k in ("surface", "dew_point"))
            whose = "rinds are" if kind == "rind" else f"the surface at sensor {what_of} is"
            what = f"Dew at {where}: {whose} at {surface}, the air's dew point is {dew}"
            numbers = {"surface_c": facts["surface"], "dew_point_c": round(facts["dew_point"], 2)}
        return Finding(
            rule=self.name,
            room=self.room.id,
            place=place,
            sensor=what_of if kind == "surface" else "",
            style=what_of if kind == "rind" else "",
            aspect=kind,
            since_ms=watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            what=what,
            check_first=f"{CHECK_FIRST}{', the sensor itself wet' if kind == 'saturated' else ''}?",
            priority=Priority.MEDIUM,
            effect=f"{who} wet on the rind: it softens, and unwanted mould takes hold",
            wheels=tuple(facts["wheels"]),
            certainty=facts["sure"],
            cause=self.air_cause,
            numbers=numbers,
        )

    def merge(self, findings: list[Finding]) -> Iterable[Finding]:
        """Saturated places of a room are told as one."""
        damp = [f for f in findings if f.aspect == "saturated"]
        others = [f for f in findings if f.aspect != "saturated"]
        if not damp:
            return others
        first = min(damp, key=lambda f: f.since_ms)
        wheels = all_wheels(damp)
        told = replace(
            first,
            place="",
            wheels=wheels,
            seen_ms=max(f.seen_ms for f in damp),
            effect=first.effect.replace(wheels_text(len(first.wheels)), wheels_text(len(wheels)), 1),
            numbers={**first.numbers, "places": sorted({f.place for f in damp if f.place})},
        )
        return [told, *others]
