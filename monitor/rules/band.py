"""Air outside the band that a style wants at its stage, for what is in the room now."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from monitor.records import AirRecord, Contents
from monitor.rules.base import MINUTE_MS, contents_at, stage_of
from monitor.rules.contents_rule import ContentsRule, all_wheels, sureness
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment, evidence_time
from monitor.rules.paces import contents_paces
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import band_text, listed, place_name, rind_of, temperature_text, wheels_text

SLIGHT = "~slight"
"""Marks the watch of a value that is out by less than the deadband."""
WELL = 3.0
"""A value back by so many deadbands is well within its band."""
CHECK_FIRST = {
    "temperature-high": "Is the door shut, the cooling running, its coil free of ice?",
    "temperature-low": "Is the cooling stuck on, or a vent open to cold air?",
    "humidity-high": "Is water standing on the floor, the humidifier stuck on, the air moving?",
    "humidity-low": "Has the humidifier water, is the door shut, is dry outside air coming in?",
}
EFFECT = {
    "temperature-high": "ripening and drying faster than intended",
    "temperature-low": "ripening slower than intended",
    "humidity-high": "drying slower than intended, unwanted mould may take hold",
    "humidity-low": "drying faster than intended, rinds may crack",
}


class BandRule(ContentsRule):
    """Out of band: temperature or humidity beyond the limits of a style's stage, only for wheels that are there.

    Wheels at a place with its own air record are judged by it, others by the room's.  The value must pass the
    limit by the deadband for ``delay_min``, or by less for ``slight_delay_min``: a tenth of a degree is within what sensors
    differ by, and does little.  It is over once the value is back well within, by three deadbands, or by one for
    ``off_delay_min``, since weather makes air waver about a limit for hours.  Limits are the style's own, from the site
    file; deadband and delays: IEC 62682 asks for both and gives no figures for maturing rooms; the defaults are common
    practice, no source.
    """

    name = "band"

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        for record in self.new_air(moment):
            for entry in contents_at(moment, self.room, record.place, self.newest):
                yield from self._of_entry(moment, record, entry)

    def _of_entry(self, moment: Moment, record: AirRecord, entry: Contents) -> Iterator[Evidence]:
        stage = stage_of(self.site, entry)
        if stage is None:
            return
        time_ms = evidence_time(record, moment.now_ms)
        own = self.settings_of(entry.style)
        for quantity, value, band, deadband in (
            ("temperature", record.temperature_c, stage.temperature_c, own.temperature_deadband_k),
            ("humidity", record.rh_pct, stage.rh_pct, own.humidity_deadband_pct),
        ):
            if value is None:
                continue
            # A narrow band must still be able to clear: the deadband never reaches past its middle.
            middle = (band[1] - band[0]) / 2
            dead, well = min(deadband, middle), min(WELL * deadband, middle)
            for side, excess in (("low", band[0] - value), ("high", value - band[1])):
                out, clear = excess > 0, excess <= -dead
                key = self.key_of(record, entry, f"{quantity}-{side}")
                keys = (key, f"{key}{SLIGHT}")
                told = out or not clear or any(k in self.watches and self.watches[k].on for k in keys)
                facts = self._facts(record, entry, f"{quantity}-{side}", value, band) if told else {}
                # Once it stands, as far out as ever is out.
                further = excess > dead or (out and key in self.watches and self.watches[key].on)
                yield Evidence(keys[0], time_ms, further, clear, facts, excess <= -well)
                yield Evidence(keys[1], time_ms, out, clear, facts, excess <= -well)

    def on_delay_ms(self, key: str) -> int:
        own = self.settings_of(key.split("|")[0])
        least: float = own.delay_min
        longer = max(least, own.slight_delay_min)
        return round((longer if key.endswith(SLIGHT) else least) * MINUTE_MS)

    def _facts(
        self, record: AirRecord, entry: Contents, aspect: str, value: float, band: tuple[float, float]
    ) -> dict[str, Any]:
        pace = contents_paces(self.site, self.room, record, entry).drying
        return {
            "aspect": aspect,
            "value": value,
            "band": list(band),
            "style": entry.style,
            "stage": entry.stage,
            "place": record.place,
            "wheels": list(entry.wheels),
            "drying_pace": list(pace) if pace else None,
            "sigma": record.temperature_sigma_k if aspect.startswith("temperature") else record.rh_sigma_pct,
        }

    def finding(self, key: str, watch: Watch) -> Finding:
        facts = watch.facts
        style = self.site.style_by_id.get(facts["style"])
        quantity, side = facts["aspect"].split("-")
        is_temperature = quantity == "temperature"
        value = temperature_text(self.site, facts["value"]) if is_temperature else f"{facts['value']:.1f} %"
        band = band_text(self.site, tuple(facts["band"]), is_temperature)
        where = place_name(self.room, facts["place"])
        unit = "c" if is_temperature else "pct"
        name = "temperature_c" if is_temperature else "rh_pct"
        return Finding(
            rule=self.name,
            room=self.room.id,
            style=facts["style"],
            aspect=facts["aspect"],
            since_ms=watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            what=f"{quantity.capitalize()} {value} at {where}, {_beside(facts)} the {band} "
            f"that {style.name if style else facts['style']} wants",
            check_first=CHECK_FIRST[facts["aspect"]],
            priority=Priority.MEDIUM,
            short=f"{quantity} {value} at {where}, wanted {band}; {wheels_text(len(facts['wheels']))}",
            effect=self._effect(facts),
            wheels=tuple(facts["wheels"]),
            certainty=sureness(
                facts["value"] - facts["band"][1] if side == "high" else facts["band"][0] - facts["value"],
                facts.get("sigma"),
            ),
            cause=self.air_cause,
            numbers={
                name: facts["value"],
                f"band_{unit}": facts["band"],
                "stage": facts["stage"],
                "places": [facts["place"]] if facts["place"] else [],
                "drying_pace": facts["drying_pace"],
            },
        )

    def _effect(self, facts: dict[str, Any]) -> str:
        who = wheels_text(len(facts["wheels"]), rind_of(self.site, [facts["style"]]))
        pace = facts["drying_pace"]
        if facts["aspect"].startswith("humidity") and pace:
            if pace[0] <= 0:
                return f"{who} taking up water instead of drying; {EFFECT[facts['aspect']].split(', ')[1]}"
            return f"{who} drying at {pace[0]:.1f} times their intended pace"
        return f"{who} {EFFECT[facts['aspect']]}"

    def merged(self, group: list[Finding]) -> Finding:
        """One finding for a style and side, whatever the number of stages and places."""
        worst = max(group, key=_excess)
        wheels = all_wheels(group)
        places = sorted({p for finding in group for p in _places(finding)})
        extra = f" ({listed([place_name(self.room, p) for p in places])})" if len(places) > 1 else ""
        facts = {"aspect": worst.aspect, "style": worst.style, "wheels": wheels, **worst.numbers}
        return replace(
            worst,
            since_ms=min(f.since_ms for f in group),
            seen_ms=max(f.seen_ms for f in group),
            what=worst.what + extra,
            effect=self._effect(facts),
            wheels=wheels,
            numbers={**worst.numbers, "places": places},
        )


def _beside(facts: dict[str, Any]) -> str:
    """Where a value lies beside its band, in words; it may be back while the condition stands out its off-delay."""
    low, high = facts["band"]
    if low <= facts["value"] <= high:
        return "back within"
    return "under" if facts["value"] < low else "over"


def _places(finding: Finding) -> list[str]:
    places = finding.numbers["places"]
    return list(places) if isinstance(places, list) else []


def _excess(finding: Finding) -> float:
    """How far a value lies beyond its band [K or %]."""
    numbers: dict[str, Any] = dict(finding.numbers)
    if "temperature_c" in numbers:
        value, (low, high) = numbers["temperature_c"], numbers["band_c"]
    else:
        value, (low, high) = numbers["rh_pct"], numbers["band_pct"]
    return max(low - value, value - high)
