"""Unwanted mould growing much faster than in a style's reference climate."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from monitor.records import AirRecord, Contents
from monitor.rind.mould import growth_rate
from monitor.rind.species import RIND_MOULDS
from monitor.rules.finding import Finding, Priority
from monitor.rules.pace_rule import PaceRuleBase
from monitor.rules.watch import Evidence
from monitor.rules.words import place_name, rind_of, temperature_text, wheels_text


@lru_cache(maxsize=4096)
def _growth(temperature_c: float, water_activity: float, kind: str) -> float:
    return float(growth_rate(temperature_c, water_activity, kind))


class MouldPaceRule(PaceRuleBase):
    """Mould pace: growth rate of unwanted mould now over that in the stage's reference climate.

    Growth by cardinal models of temperature and water activity (Rosso et al. 1993, J. Theor. Biol. 162:447;
    Rosso & Robinson 2001, Int. J. Food Microbiol. 63:265).  Where the reference climate lets none of them grow
    there is no pace: then any growth beyond ``highest_mm_per_day`` counts.  The limits and the delay are common
    practice, no source.  What the style's own band
    allows is within them.
    """

    name = "mould_pace"
    pace_name = "mould"
    fastest_side = 1

    def without_pace(self, time_ms: int, record: AirRecord, entry: Contents) -> Iterator[Evidence]:
        style = self.site.style_by_id.get(entry.style)
        if style is None or record.temperature_c is None or record.rh_pct is None:
            return
        kinds = style.unwanted_moulds or RIND_MOULDS[style.rind].unwanted
        t, activity = record.temperature_c, record.rh_pct / 100.0
        now = max(_growth(t, activity, kind) for kind in kinds)
        (growth,) = self.running(record, entry, "growth", time_ms, (now,))
        limit = self.settings_of(entry.style).highest_mm_per_day
        facts = {**self.facts_of(record, entry), "side": "growing", "pace": None, "mm_per_day": growth}
        yield Evidence(
            self.key_of(record, entry, "growing"), time_ms, growth > limit, growth <= 0.8 * limit, facts
        )

    def describe(self, facts: dict[str, Any]) -> Finding:
        style = self.site.style_by_id.get(facts["style"])
        who = wheels_text(len(facts["wheels"]), rind_of(self.site, [facts["style"]]))
        where = place_name(self.room, facts["place"])
        if facts["pace"] is None:
            effect = (
                f"unwanted mould on {who} can grow {facts['mm_per_day']:.1f} mm a day; in their intended climate "
                "none grows"
            )
        else:
            effect = f"unwanted mould on {who} growing at {facts['pace'][0]:.1f} times its intended pace"
        return Finding(
            rule=self.name,
            room=self.room.id,
            style=facts["style"],
            aspect=facts["side"],
            since_ms=0,
            seen_ms=0,
            what=f"Mould on {style.name if style else facts['style']} in {where} can grow too fast: the air is "
            f"{temperature_text(self.site, facts['temperature_c'])}, {facts['rh_pct']:.0f} %",
            check_first="Look at rinds low and away from the air stream; is the air moving, is water standing?",
            priority=Priority.MEDIUM,
            effect=effect,
            wheels=tuple(facts["wheels"]),
            numbers={
                "mould_pace": facts["pace"],
                "mm_per_day": facts.get("mm_per_day"),
                "stage": facts["stage"],
                "temperature_c": facts["temperature_c"],
                "rh_pct": facts["rh_pct"],
            },
        )
