"""Blue where air gets under a rind."""

from __future__ import annotations

from typing import Any

from monitor.records import RindNow
from monitor.rules.finding import Finding, Priority
from monitor.rules.rind_index_rule import RindIndexRuleBase
from monitor.rules.words import listed, rind_of, wheels_text


class BlueRule(RindIndexRuleBase):
    """A wheel's blue index where air can get in: growth of blue moulds since it was last brushed, over what shows.

    Growth by cardinal models (Rosso & Robinson 2001, Int. J. Food Microbiol. 63:265).  Blue needs little air but some:
    only wheels with a crack, a plug or a cloth count.  Limit and delay are common practice, no source.
    """

    name = "blue"

    def index_of(self, rind: RindNow) -> float | None:
        return rind.blue_index if rind.way_in else None

    def describe(self, facts: dict[str, Any]) -> Finding:
        who = wheels_text(len(facts["wheels"]), rind_of(self.site, [facts["style"]]))
        way = WAYS.get(facts["way_in"], facts["way_in"])
        return Finding(
            rule=self.name,
            room=self.room.id,
            style=facts["style"],
            since_ms=0,
            seen_ms=0,
            what=f"Blue may have grown in {self.room.name}: {facts['worst']} has had "
            f"{facts['index']:.1f} times what shows, {way}",
            check_first=f"Look at {listed(facts['wheels'])} {way}, before the iron goes in; are plugs sealed?",
            priority=Priority.LOW,
            effect=f"blue may run into {who}",
            numbers={"blue_index": facts["index"], "worst_wheel": facts["worst"]},
        )


WAYS = {"crack": "along its crack", "plug": "at its plug", "cloth": "under its cloth"}
