"""What the rules on drying and mould pace share: a pace beyond a limit for what is in the room."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from monitor.records import AirRecord, Contents
from monitor.rules.base import contents_at
from monitor.rules.contents_rule import ContentsRule, all_wheels, sureness
from monitor.rules.finding import Finding
from monitor.rules.moment import Moment, evidence_time
from monitor.rules.paces import NINETY_PCT, Pace, contents_paces
from monitor.rules.watch import Evidence, Watch


class PaceRuleBase(ContentsRule):
    """Follows one pace of each entry of a room's contents against a high and perhaps a low limit.

    A pace is a rate: hours of it change a rind little, so delays are long.
    """

    pace_name = ""

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        for record in self.new_air(moment):
            for entry in contents_at(moment, self.room, record.place, self.newest):
                pace = getattr(contents_paces(self.site, self.room, record, entry), self.pace_name)
                time_ms = evidence_time(record, moment.now_ms)
                if pace is not None:
                    yield from self._of_pace(time_ms, record, entry, pace, moment)
                else:
                    yield from self.without_pace(time_ms, record, entry)

    def without_pace(self, time_ms: int, record: AirRecord, entry: Contents) -> Iterator[Evidence]:
        """What can be said where there is no pace; nothing unless a rule knows better."""
        return iter(())

    def facts_of(self, record: AirRecord, entry: Contents) -> dict[str, Any]:
        """What a finding needs to know of the air and the contents."""
        return {
            "style": entry.style,
            "stage": entry.stage,
            "place": record.place,
            "wheels": list(entry.wheels),
            "temperature_c": record.temperature_c,
            "rh_pct": record.rh_pct,
        }

    def _of_pace(
        self, time_ms: int, record: AirRecord, entry: Contents, pace: Pace, moment: Moment
    ) -> Iterator[Evidence]:
        for side, out, clear in self.sides(pace[0], entry.style):
            facts: dict[str, Any] = {}
            if out or not clear:
                grams = self.grams_per_day(moment, entry)
                facts = {**self.facts_of(record, entry), "pace": list(pace), "side": side, "grams": grams}
            yield Evidence(self.key_of(record, entry, side), time_ms, out, clear, facts)

    def grams_per_day(self, moment: Moment, entry: Contents) -> float | None:
        """What a wheel of the entry typically loses in a day [g]; None unless a rule tells of it."""
        return None

    def sides(self, pace: float, style: str) -> Iterator[tuple[str, bool, bool]]:
        """For each limit: its name, whether it is passed, whether the pace is back by the deadband."""
        own = self.settings_of(style)
        yield "fast", pace > own.highest_pace, pace <= own.highest_pace - own.deadband
        low = getattr(own, "lowest_pace", None)
        if low is not None:
            yield "slow", pace < low, pace >= low + own.deadband

    @abstractmethod
    def describe(self, facts: dict[str, Any]) -> Finding:
        """The finding of some contents in words, without its times."""

    def finding(self, key: str, watch: Watch) -> Finding:
        finding = self.describe(watch.facts)
        return replace(
            finding,
            since_ms=watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            certainty=self._certainty(watch.facts),
            cause=self.air_cause,
        )

    def _certainty(self, facts: dict[str, Any]) -> float | None:
        """From the pace's 90 % interval on the side of the limit that it has passed."""
        if facts.get("pace") is None:
            return None
        value, low, high = facts["pace"]
        own = self.settings_of(facts["style"])
        if facts["side"] == "fast":
            return sureness(value - own.highest_pace, (value - low) / NINETY_PCT)
        return sureness(own.lowest_pace - value, (high - value) / NINETY_PCT)

    def merged(self, group: list[Finding]) -> Finding:
        """One finding for a style and side, told by the wheels that are worst off."""
        worst = max(group, key=lambda f: abs(self._value(f) - 1.0))
        numbers: dict[str, Any] = dict(worst.numbers)
        facts = {
            "style": worst.style,
            "side": worst.aspect,
            "place": "",
            "wheels": list(all_wheels(group)),
            "pace": numbers.get(f"{self.pace_name}_pace"),
            "grams": numbers.get("loss_g_per_day"),
            **{k: numbers.get(k) for k in ("stage", "temperature_c", "rh_pct", "mm_per_day")},
        }
        merged = self.describe(facts)
        return replace(
            worst,
            what=merged.what,
            effect=merged.effect,
            wheels=merged.wheels,
            priority=merged.priority,
            since_ms=min(f.since_ms for f in group),
            seen_ms=max(f.seen_ms for f in group),
        )

    def _value(self, finding: Finding) -> float:
        numbers: dict[str, Any] = dict(finding.numbers)
        pace = numbers.get(f"{self.pace_name}_pace")
        return float(pace[0]) if pace else 1.0 + float(numbers.get("mm_per_day") or 0.0)
