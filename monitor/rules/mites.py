"""Mites that had the time and the air to become many."""

from __future__ import annotations

from typing import Any

from monitor.records import RindNow
from monitor.rules.finding import Finding, Priority
from monitor.rules.rind_index_rule import RindIndexRuleBase
from monitor.rules.words import listed, rind_of, wheels_text


class MitesRule(RindIndexRuleBase):
    """Mites: their growth in the air of each wheel since it was last brushed, over what shows as dust.

    Rates of increase by temperature and humidity: Aspaly et al. 2007 (Exp. Appl. Acarol.) and the life tables named in
    `monitor.rind.mites`.  Limit and delay are common practice, no source.
    """

    name = "mites"

    def index_of(self, rind: RindNow) -> float | None:
        return rind.mite_index

    def describe(self, facts: dict[str, Any]) -> Finding:
        who = wheels_text(len(facts["wheels"]), rind_of(self.site, [facts["style"]]))
        return Finding(
            rule=self.name,
            room=self.room.id,
            style=facts["style"],
            since_ms=0,
            seen_ms=0,
            what=f"Mites may show in {self.room.name}: {facts['worst']} has had {facts['index']:.1f} times the warm, "
            "damp days that make dust",
            check_first=f"Look for brown dust on and below {listed(facts['wheels'])}; brush, and enter the brushing",
            priority=Priority.LOW,
            effect=f"mites may eat into the rinds of {who}",
            numbers={"mite_index": facts["index"], "worst_wheel": facts["worst"]},
        )
