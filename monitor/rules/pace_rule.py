"""What the rules on drying and mould pace share: a pace beyond a limit for what is in the room."""

from __future__ import annotations

import math
from abc import abstractmethod
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from monitor.records import AirRecord, Contents
from monitor.rules.base import contents_at, stage_of
from monitor.rules.contents_rule import ContentsRule, all_wheels, sureness
from monitor.rules.finding import Finding
from monitor.rules.moment import Moment, evidence_time
from monitor.rules.paces import NINETY_PCT, Pace, contents_paces
from monitor.rules.watch import Evidence, Watch

HOUR_MS = 3_600_000


class PaceRuleBase(ContentsRule):
    """Follows one pace of each entry of a room's contents against a high and perhaps a low limit.

    A pace is a rate: hours of it change a rind little.  So its running mean is judged, in which air counts the less the
    longer ago it was (by e in ``mean_h`` hours).  What the style's own band allows is never too fast or too slow.
    """

    pace_name = ""
    fastest_side = 0
    """Where in a band the pace is fastest: 0 at its driest, 1 at its dampest; always at its warmest."""

    def reset(self) -> None:
        super().reset()
        self._known_limits: dict[tuple[str, ...], list[tuple[str, float]]] = {}

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        self._forget_gone(moment)
        for record in self.new_air(moment):
            for entry in contents_at(moment, self.room, record.place, self.newest):
                pace = getattr(contents_paces(self.site, self.room, record, entry), self.pace_name)
                time_ms = evidence_time(record, moment.now_ms)
                if pace is not None:
                    value, low, high = self.running(record, entry, "pace", time_ms, pace)
                    yield from self._of_pace(time_ms, record, entry, (value, low, high), moment)
                else:
                    yield from self.without_pace(time_ms, record, entry)

    def running(
        self, record: AirRecord, entry: Contents, name: str, time_ms: int, values: Sequence[float]
    ) -> list[float]:
        """The running means of some values of an entry, with these taken in; they hold from the last time [ms] on."""
        key, means = self.key_of(record, entry, name), self.memory.setdefault("means", {})
        known = means.get(key)
        if known is None:
            means[key] = [time_ms, *values]
        elif time_ms > known[0]:
            span_ms = self.settings_of(entry.style).mean_h * HOUR_MS
            share = 1.0 - math.exp(-(time_ms - known[0]) / span_ms) if span_ms > 0 else 1.0
            new = [old + share * (value - old) for old, value in zip(known[1:], values, strict=True)]
            means[key] = [time_ms, *new]
        return list(means[key][1:])

    def _forget_gone(self, moment: Moment) -> None:
        means = self.memory.get("means", {})
        for key in [key for key in means if not self.alive(moment, key)]:
            del means[key]

    def _rewind(self, now_ms: int) -> None:
        super()._rewind(now_ms)
        for known in self.memory.get("means", {}).values():
            known[0] = min(known[0], now_ms)

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
        deadband = self.settings_of(entry.style).deadband
        for side, limit in self._limits(record, entry):
            sign = 1.0 if side == "fast" else -1.0
            out, clear = sign * (pace[0] - limit) > 0, sign * (pace[0] - limit) <= -deadband
            facts: dict[str, Any] = {}
            if out or not clear:
                grams = self.grams_per_day(moment, entry)
                told = {"pace": list(pace), "side": side, "limit": limit, "grams": grams}
                facts = {**self.facts_of(record, entry), **told}
            yield Evidence(self.key_of(record, entry, side), time_ms, out, clear, facts)

    def grams_per_day(self, moment: Moment, entry: Contents) -> float | None:
        """What a wheel of the entry typically loses in a day [g]; None unless a rule tells of it."""
        return None

    def _limits(self, record: AirRecord, entry: Contents) -> list[tuple[str, float]]:
        """The name of each limit and the pace at which it lies: the settings', or the band's own where that is further."""
        key = (entry.style, entry.stage, record.place, entry.place)
        if key not in self._known_limits:
            own, stage = self.settings_of(entry.style), stage_of(self.site, entry)
            if stage is None:
                return []
            (cold, warm), damp = stage.temperature_c, stage.rh_pct
            low = getattr(own, "lowest_pace", None)
            limits = [
                ("fast", max(own.highest_pace, self._pace_at(record, entry, warm, damp[self.fastest_side])))
            ]
            if low is not None:
                slowest = self._pace_at(record, entry, cold, damp[1 - self.fastest_side])
                limits.append(("slow", min(low, slowest)))
            self._known_limits[key] = limits
        return self._known_limits[key]

    def _pace_at(self, record: AirRecord, entry: Contents, temperature_c: float, rh_pct: float) -> float:
        still = replace(record, temperature_c=temperature_c, rh_pct=rh_pct)
        pace = getattr(contents_paces(self.site, self.room, still, entry), self.pace_name)
        return 1.0 if pace is None else float(pace[0])

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
        (value, low, high), limit = facts["pace"], facts["limit"]
        if facts["side"] == "fast":
            return sureness(value - limit, (value - low) / NINETY_PCT)
        return sureness(limit - value, (high - value) / NINETY_PCT)

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
