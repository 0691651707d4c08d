"""Rinds so much drier than what lies under them that they may crack."""

from __future__ import annotations

from typing import Any

from monitor.records import RindNow
from monitor.rules.finding import Finding, Priority
from monitor.rules.rind_index_rule import RindIndexRuleBase
from monitor.rules.words import listed, rind_of, wheels_text


class CrackingRule(RindIndexRuleBase):
    """Cracking index: strain at the rind over the strain at which it is taken to crack, from each wheel's rind twin.

    Shrinkage by the water lost against the mean below it; the strain of 0.05 at index 1 is assumed, and it, the
    limit and the delay are common practice, no source: inspections settle them for a style.
    """

    name = "cracking"

    def index_of(self, rind: RindNow) -> float | None:
        return rind.cracking_index

    def describe(self, facts: dict[str, Any]) -> Finding:
        who = wheels_text(len(facts["wheels"]), rind_of(self.site, [facts["style"]]))
        return Finding(
            rule=self.name,
            room=self.room.id,
            style=facts["style"],
            since_ms=0,
            seen_ms=0,
            what=f"Rinds in {self.room.name} are close to cracking: the twin of {facts['worst']} is at "
            f"{facts['index']:.1f} times what a rind is taken to bear",
            check_first=f"Look at the rind of {listed(facts['wheels'])}; is the air too dry, a fan blowing on them?",
            priority=Priority.MEDIUM,
            effect=f"rinds of {who} may crack, and blue follow the cracks",
            cause=self.air_cause,
            numbers={"cracking_index": facts["index"], "worst_wheel": facts["worst"]},
        )
