"""Far too warm, far too cold or freezing, and a week whose mean kinetic temperature is off what is intended."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.records import AirRecord, Contents
from monitor.rind.ripening import (
    GAS_CONSTANT,
    KINETIC_ACTIVATION_ENERGY,
    RIPENING_ACTIVATION_ENERGY,
)
from monitor.rules.base import MINUTE_MS, contents_at, stage_of
from monitor.rules.contents_rule import ContentsRule, all_wheels, sureness
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment, evidence_time
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import place_name, rind_of, temperature_text, wheels_text
from monitor.site import Stage

ZERO_C_K = 273.15
LEAST_DAYS = 3
KINETIC_K = KINETIC_ACTIVATION_ENERGY / GAS_CONSTANT
CHECK_FIRST = {
    "freezing": "Is the cooling stuck on, a vent open to frost? Move wheels away from the coil",
    "far-warm": "Does the compressor run, the fan turn, is the door shut, the coil free of ice?",
    "far-cold": "Is the cooling stuck on, its thermostat moved, a vent open to cold air?",
    "week-warm": "Is the thermostat set for what lies here; is the plant large enough for the season?",
    "week-cold": "Is the thermostat set for what lies here?",
}


class WarmthRule(ContentsRule):
    """Freezing, far beyond the band, or a mean kinetic temperature off the intended one over a week.

    Mean kinetic temperature: Haynes 1971, J. Pharm. Sci. 60:927 (citation from memory), with the customary 83.144
    kJ/mol (from memory); how much faster wheels ripen by Arrhenius with an assumed energy (see
    `monitor.rind.ripening`).  Salted paste freezes somewhat below 0 degC.  Limits are common practice, no source.
    """

    name = "warmth"

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        for record in self.new_air(moment):
            if record.temperature_c is None:
                continue
            kinetic = self._kinetic(record.place, record.start_ms, record.temperature_c)
            for entry in contents_at(moment, self.room, record.place, self.newest):
                stage = stage_of(self.site, entry)
                if stage is not None:
                    yield from self._of_entry(moment, record, entry, stage, kinetic)

    def _of_entry(
        self, moment: Moment, record: AirRecord, entry: Contents, stage: Stage, kinetic: float | None
    ) -> Iterator[Evidence]:
        t, own = record.temperature_c, self.settings_of(entry.style)
        assert t is not None
        low, high = stage.temperature_c[0] - own.far_k, stage.temperature_c[1] + own.far_k
        dead = own.deadband_k
        checks = [
            ("freezing", t, t < own.freezing_c, t >= own.freezing_c + dead, own.freezing_c),
            ("far-warm", t, t > high, t <= high - dead, high),
            ("far-cold", t, own.freezing_c <= t < low, t >= low + dead or t < own.freezing_c, low),
        ]
        if kinetic is not None:
            off, far = kinetic - stage.reference_temperature_c, own.kinetic_k
            reference = stage.reference_temperature_c
            checks += [
                ("week-warm", kinetic, off > far, off <= 0.8 * far, reference),
                ("week-cold", kinetic, off < -far, off >= -0.8 * far, reference),
            ]
        for aspect, value, out, clear, limit in checks:
            facts = self._facts(record, entry, stage, (value, limit, kinetic)) if out or not clear else {}
            key = self.key_of(record, entry, aspect)
            yield Evidence(key, evidence_time(record, moment.now_ms), out, clear, facts)

    def _facts(
        self, record: AirRecord, entry: Contents, stage: Stage, values: tuple[float, float, float | None]
    ) -> dict[str, Any]:
        return {
            "value": values[0],
            "limit": values[1],
            "kinetic": values[2],
            "reference": stage.reference_temperature_c,
            "sigma": record.temperature_sigma_k,
            "style": entry.style,
            "place": record.place,
            "wheels": list(entry.wheels),
        }

    def _kinetic(self, place: str, start_ms: int, temperature_c: float) -> float | None:
        """The mean kinetic temperature of a place's last days [degC], in sums by day; None before there are enough."""
        days = self.memory.setdefault("days", {}).setdefault(place, {})
        today = start_ms // DAY_MS
        for day in [d for d in days if not today - self.settings.kinetic_days < int(d) <= today]:
            del days[day]
        of_day = days.setdefault(str(today), [0.0, 0, 0])
        if start_ms >= of_day[2] + TEN_MINUTES_MS:
            of_day[0] += math.exp(-KINETIC_K / (temperature_c + ZERO_C_K))
            of_day[1] += 1
            of_day[2] = start_ms
        if len(days) < LEAST_DAYS:
            return None
        total, count = sum(d[0] for d in days.values()), sum(d[1] for d in days.values())
        return -KINETIC_K / math.log(total / count) - ZERO_C_K if count else None

    def on_delay_ms(self, key: str) -> int:
        return 0 if "|week" in key else round(self.settings.delay_min * MINUTE_MS)

    def finding(self, key: str, watch: Watch) -> Finding:
        facts, aspect = watch.facts, key.rpartition("|")[2]
        t = temperature_text(self.site, facts["value"])
        where = place_name(self.room, facts["place"])
        intended = temperature_text(self.site, facts["reference"])
        sides = {
            "freezing": f"It freezes at {where}: {t}",
            "far-warm": f"{where} is far too warm: {t}; intended is {intended}",
            "far-cold": f"{where} is far too cold: {t}; intended is {intended}",
            "week-warm": f"The last days at {where} were too warm: they count as {t} throughout, intended is {intended}",
            "week-cold": f"The last days at {where} were too cold: they count as {t} throughout, intended is {intended}",
        }
        urgent = aspect in ("freezing", "far-warm")
        off = facts["value"] - facts["limit"]
        return Finding(
            rule=self.name,
            room=self.room.id,
            style=facts["style"],
            aspect=aspect,
            since_ms=watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            what=sides[aspect],
            check_first=CHECK_FIRST[aspect],
            priority=Priority.HIGH if urgent else Priority.MEDIUM if aspect == "far-cold" else Priority.LOW,
            effect=self._effect(aspect, facts, len(facts["wheels"])),
            wheels=tuple(facts["wheels"]),
            certainty=sureness(off if "warm" in aspect else -off, facts["sigma"]),
            cause=self.air_cause,
            numbers={
                "temperature_c": facts["value"],
                "mean_kinetic_c": facts["kinetic"],
                "limit_c": facts["limit"],
            },
        )

    def _effect(self, aspect: str, facts: dict[str, Any], count: int) -> str:
        who = wheels_text(count, rind_of(self.site, [facts["style"]]))
        if aspect == "freezing":
            return f"{who} may freeze: paste turns crumbly, rinds crack"
        now, reference = facts["value"] + ZERO_C_K, facts["reference"] + ZERO_C_K
        pace = math.exp(RIPENING_ACTIVATION_ENERGY / GAS_CONSTANT * (1.0 / reference - 1.0 / now))
        return f"{who} ripening at about {pace:.1f} times their intended pace"

    def merged(self, group: list[Finding]) -> Finding:
        """Told by the place furthest out."""
        sign = -1.0 if "cold" in group[0].aspect or group[0].aspect == "freezing" else 1.0
        worst = max(group, key=lambda f: sign * float(f.numbers["temperature_c"]))  # type: ignore[arg-type]
        wheels = all_wheels(group)
        count = wheels_text(len(worst.wheels), rind_of(self.site, [worst.style]))
        effect = worst.effect.replace(count, wheels_text(len(wheels), rind_of(self.site, [worst.style])), 1)
        return replace(
            worst,
            wheels=wheels,
            effect=effect,
            since_ms=min(f.since_ms for f in group),
            seen_ms=max(f.seen_ms for f in group),
        )
