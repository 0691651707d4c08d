"""Mould on shelves, doors and walls, by the index of Hukka & Viitanen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from monitor.clock import DAY_MS
from monitor.records import AirRecord
from monitor.rind.mould_index import MouldIndex, meaning
from monitor.rules.base import Rule, wheels_at
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import place_name, wheels_text

HOUR_MS = 3_600_000


class ShelfMouldRule(Rule):
    """Shelf and wall mould: the index at each place since its surfaces were last due for washing.

    Hukka & Viitanen 1999, Wood Sci. Technol. 33:475; classes of Ojanen, Viitanen et al. 2010.  Index 3 is the first seen
    by eye (Viitanen & Ojanen 2007).  That shelves are washed every ``washed_every_days`` is common practice, no source.
    """

    name = "shelf_mould"

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        for record in self.new_air(moment):
            if record.place and record.temperature_c is not None and record.rh_pct is not None:
                yield from self._of_place(moment, record, record.temperature_c, record.rh_pct)

    def _of_place(self, moment: Moment, record: AirRecord, t: float, rh: float) -> Iterator[Evidence]:
        """An hour's mean climate moves the index on; slots between hours only add to the mean."""
        new = {"hour": record.start_ms // HOUR_MS, "sums": [0.0, 0.0, 0], "slot": 0,
               "index": 0.0, "dry_hours": 0.0, "washed_ms": record.start_ms}  # fmt: skip
        known = self.memory.setdefault("places", {}).setdefault(record.place, new)
        if record.start_ms < known["slot"]:
            return
        if record.start_ms // HOUR_MS > known["hour"]:
            self._grow(known)
            known["hour"], known["sums"] = record.start_ms // HOUR_MS, [0.0, 0.0, 0]
            if record.start_ms - known["washed_ms"] >= self.settings.washed_every_days * DAY_MS:
                known |= {"index": 0.0, "dry_hours": 0.0, "washed_ms": record.start_ms}
            limit, index = self.settings.highest_index, known["index"]
            facts = {"index": index, "wheels": wheels_at(moment, self.room, record.place)}
            yield Evidence(record.place, record.start_ms, index >= limit, index < 0.9 * limit, facts)
        if record.start_ms > known["slot"]:
            sums = known["sums"]
            known["sums"] = [sums[0] + t, sums[1] + min(rh, 100.0), sums[2] + 1]
            known["slot"] = record.start_ms

    def _grow(self, known: dict[str, Any]) -> None:
        total_t, total_rh, count = known["sums"]
        if not count:
            return
        mould = MouldIndex(self.settings.material)
        mould.reset(known["index"], known["dry_hours"])
        mould.update(total_t / count, total_rh / count, 1.0)
        known |= {"index": float(mould.index[0]), "dry_hours": float(mould.dry_hours[0])}

    def _rewind(self, now_ms: int) -> None:
        super()._rewind(now_ms)
        for known in self.memory.get("places", {}).values():
            known["hour"] = min(known["hour"], now_ms // HOUR_MS)
            known["slot"], known["washed_ms"] = (min(known[k], now_ms) for k in ("slot", "washed_ms"))

    def finding(self, key: str, watch: Watch) -> Finding:
        facts = watch.facts
        return Finding(
            rule=self.name,
            room=self.room.id,
            since_ms=watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            what=f"Mould may show on shelves and walls at {place_name(self.room, key)}: "
            f"{meaning(min(facts['index'], 6.0))}",
            check_first="Look at the underside of shelves, door seals and cold corners; wash them, let more air past",
            priority=Priority.LOW,
            effect=f"spores for {wheels_text(len(facts['wheels']))}" if facts["wheels"] else "",
            wheels=tuple(facts["wheels"]),
            numbers={"mould_index": round(facts["index"], 2), "material": self.settings.material},
        )

    def merge(self, findings: list[Finding]) -> Iterable[Finding]:
        """One finding a room, told by the place that is worst off."""
        if len(findings) < 2:
            return findings
        worst = max(findings, key=lambda f: float(f.numbers["mould_index"]))  # type: ignore[arg-type]
        return [replace(worst, since_ms=min(f.since_ms for f in findings))]
