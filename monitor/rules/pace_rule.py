"""What the rules on drying and mould pace share: a pace beyond a limit for what is in the room."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from monitor.records import AirRecord, Contents
from monitor.rules.base import Rule, contents_at
from monitor.rules.finding import Finding
from monitor.rules.moment import Moment, evidence_time
from monitor.rules.paces import Pace, contents_paces
from monitor.rules.watch import Evidence, Watch


class PaceRuleBase(Rule):
    """Follows one pace of each entry of a room's contents against a high and perhaps a low limit."""

    pace_name = ""

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        for record in self.new_air(moment):
            for entry in contents_at(moment, self.room, record.place, self.newest):
                pace = getattr(contents_paces(self.site, self.room, record, entry), self.pace_name)
                if pace is not None:
                    yield from self._of_pace(evidence_time(record, moment.now_ms), record, entry, pace)

    def _of_pace(self, time_ms: int, record: AirRecord, entry: Contents, pace: Pace) -> Iterator[Evidence]:
        facts = {
            "pace": list(pace),
            "style": entry.style,
            "stage": entry.stage,
            "place": record.place,
            "wheels": list(entry.wheels),
            "temperature_c": record.temperature_c,
            "rh_pct": record.rh_pct,
        }
        for side, out, clear in self.sides(pace[0]):
            key = f"{entry.style}|{entry.stage}|{record.place}|{entry.place}|{side}"
            yield Evidence(key, time_ms, out, clear, {**facts, "side": side})

    def sides(self, pace: float) -> Iterator[tuple[str, bool, bool]]:
        """For each limit: its name, whether it is passed, whether the pace is back by the deadband."""
        high, dead = self.settings.highest_pace, self.settings.deadband
        yield "fast", pace > high, pace <= high - dead
        low = getattr(self.settings, "lowest_pace", None)
        if low is not None:
            yield "slow", pace < low, pace >= low + dead

    def alive(self, moment: Moment, key: str) -> bool:
        style, stage, _, entry_place, _ = key.split("|")
        return any(
            entry.style == style and entry.stage == stage and entry.place == entry_place
            for entry in moment.contents_by_room.get(self.room.id, ())
        )

    @abstractmethod
    def describe(self, facts: dict[str, Any]) -> Finding:
        """The finding of some contents in words, without its times."""

    def finding(self, key: str, watch: Watch) -> Finding:
        finding = self.describe(watch.facts)
        return replace(finding, since_ms=watch.since_ms or watch.seen_ms, seen_ms=watch.seen_ms)

    def merge(self, findings: list[Finding]) -> Iterable[Finding]:
        """One finding for a style and side, told by the wheels that are worst off."""
        groups: dict[tuple[str, str], list[Finding]] = {}
        for finding in findings:
            groups.setdefault((finding.style, finding.aspect), []).append(finding)
        return [self._merged(group) for group in groups.values()]

    def _merged(self, group: list[Finding]) -> Finding:
        if len(group) == 1:
            return group[0]
        worst = max(group, key=lambda f: abs(self._value(f) - 1.0))
        numbers: dict[str, Any] = dict(worst.numbers)
        wheels = list(dict.fromkeys(w for finding in group for w in finding.wheels))
        facts = {
            "pace": numbers[f"{self.pace_name}_pace"],
            "style": worst.style,
            "side": worst.aspect,
            "place": "",
            "wheels": wheels,
            **{k: numbers[k] for k in ("stage", "temperature_c", "rh_pct")},
        }
        since, seen = min(f.since_ms for f in group), max(f.seen_ms for f in group)
        return replace(self.describe(facts), since_ms=since, seen_ms=seen)

    def _value(self, finding: Finding) -> float:
        numbers: dict[str, Any] = dict(finding.numbers)
        return float(numbers[f"{self.pace_name}_pace"][0])
