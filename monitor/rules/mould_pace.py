"""Unwanted mould growing much faster than in a style's reference climate."""

from __future__ import annotations

from typing import Any

from monitor.rules.finding import Finding, Priority
from monitor.rules.pace_rule import PaceRuleBase
from monitor.rules.words import place_name, rind_of, temperature_text, wheels_text


class MouldPaceRule(PaceRuleBase):
    """Mould pace: growth rate of unwanted mould now over that in the stage's reference climate.

    Growth by cardinal models of temperature and water activity (Rosso et al. 1993, J. Theor. Biol. 162:447;
    Rosso & Robinson 2001, Int. J. Food Microbiol. 63:265).  ``highest_pace`` and the delay are common
    practice, no source.
    """

    name = "mould_pace"
    pace_name = "mould"

    def describe(self, facts: dict[str, Any]) -> Finding:
        style = self.site.style_by_id.get(facts["style"])
        who = wheels_text(len(facts["wheels"]), rind_of(self.site, [facts["style"]]))
        value, low, high = facts["pace"]
        where = place_name(self.room, facts["place"])
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
            effect=f"unwanted mould on {who} growing at {value:.1f} times its intended pace",
            wheels=tuple(facts["wheels"]),
            numbers={
                "mould_pace": [value, low, high],
                "stage": facts["stage"],
                "temperature_c": facts["temperature_c"],
                "rh_pct": facts["rh_pct"],
            },
        )
