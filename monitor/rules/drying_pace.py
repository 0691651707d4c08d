"""Wheels drying much faster or slower than their style's reference climate intends."""

from __future__ import annotations

from statistics import median
from typing import Any

from monitor.records import Contents
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.pace_rule import PaceRuleBase
from monitor.rules.words import place_name, rind_of, temperature_text, wheels_text

CHECK_FIRST = {
    "fast": "Has the humidifier water, is the door shut, is a fan blowing on the wheels?",
    "slow": "Is water standing in the room, the humidifier stuck on, the air moving between the wheels?",
}


class DryingPaceRule(PaceRuleBase):
    """Drying pace: evaporation now over evaporation in the stage's reference climate, for wheels that are there.

    Evaporation by the film model with evaporative cooling (Chilton & Colburn 1934, Ind. Eng. Chem. 26:1183;
    structure as in Hélias, Mirade & Corrieu 2012, J. Food Eng. 110:109).  The limits, ``highest_pace`` and
    ``lowest_pace``, and the delay are common practice, no source.  What the style's own band
    allows is within them.
    """

    name = "drying_pace"
    pace_name = "drying"

    def grams_per_day(self, moment: Moment, entry: Contents) -> float | None:
        """The median of what the entry's rind twins say."""
        rinds = (moment.rinds.get(wheel) for wheel in entry.wheels) if moment.rinds else ()
        known = [r.loss_kg_per_day for r in rinds if r is not None and r.loss_kg_per_day is not None]
        return round(1000.0 * median(known), 1) if known else None

    def describe(self, facts: dict[str, Any]) -> Finding:
        style = self.site.style_by_id.get(facts["style"])
        who = wheels_text(len(facts["wheels"]), rind_of(self.site, [facts["style"]]))
        value, low, high = facts["pace"]
        fast = facts["side"] == "fast"
        if value <= 0:
            effect = (
                f"{who} taking up water instead of drying; rinds stay soft and unwanted mould may take hold"
            )
        elif fast:
            effect = f"{who} drying at {value:.1f} times their intended pace{_each(facts)}; rinds may crack"
        else:
            effect = f"{who} drying at {value:.1f} times their intended pace; rinds stay soft"
        where = place_name(self.room, facts["place"])
        what = (
            f"{style.name if style else facts['style']} in {where} {'dries too fast' if fast else 'hardly dries'}: "
            f"the air is {temperature_text(self.site, facts['temperature_c'])}, {facts['rh_pct']:.0f} %"
        )
        return Finding(
            rule=self.name,
            room=self.room.id,
            style=facts["style"],
            aspect=facts["side"],
            since_ms=0,
            seen_ms=0,
            what=what,
            check_first=CHECK_FIRST[facts["side"]],
            priority=Priority.HIGH
            if value > 2 * self.settings_of(facts["style"]).highest_pace
            else Priority.MEDIUM,
            effect=effect,
            wheels=tuple(facts["wheels"]),
            numbers={
                "drying_pace": [value, low, high],
                "loss_g_per_day": facts.get("grams"),
                "stage": facts["stage"],
                "temperature_c": facts["temperature_c"],
                "rh_pct": facts["rh_pct"],
            },
        )


def _each(facts: dict[str, Any]) -> str:
    grams = facts.get("grams")
    return f", about {grams:.0f} g each by tomorrow" if grams and grams >= 0.5 else ""
