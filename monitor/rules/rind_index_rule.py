"""What the rules on cracking, blue and mites share: an index of the rind twins over a limit, told by style."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from monitor.records import Contents, RindNow
from monitor.rules.base import Rule
from monitor.rules.finding import Finding
from monitor.rules.moment import Moment
from monitor.rules.watch import Evidence, Watch

MONTH_HOURS = 720.0


class RindIndexRuleBase(Rule):
    """Follows an index of each wheel in a room; wheels of one style are told together."""

    def reset(self) -> None:
        super().reset()
        self._rinds: Mapping[str, RindNow] | None = None
        self._contents: tuple[Contents, ...] = ()

    @abstractmethod
    def index_of(self, rind: RindNow) -> float | None:
        """The index of a wheel; None where it is not known or does not matter for it."""

    @abstractmethod
    def describe(self, facts: dict[str, Any]) -> Finding:
        """The finding of some wheels in words, without its times."""

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        # Twins speak once an hour; what was looked at already has nothing new to say.
        if not moment.rinds or (moment.rinds is self._rinds and moment.contents == self._contents):
            return
        self._rinds, self._contents = moment.rinds, moment.contents
        by_style: dict[str, list[Contents]] = {}
        for entry in moment.contents_by_room.get(self.room.id, ()):
            by_style.setdefault(entry.style, []).append(entry)
        for style, entries in by_style.items():
            known = self._known(moment, entries)
            if known:
                yield self._told(moment, style, known)

    def _known(self, moment: Moment, entries: Sequence[Contents]) -> list[tuple[float, RindNow]]:
        found = []
        for entry in entries:
            for wheel in entry.wheels:
                rind = moment.rinds.get(wheel)
                index = self.index_of(rind) if rind is not None else None
                if rind is not None and index is not None:
                    found.append((index, rind))
        return found

    def _told(self, moment: Moment, style: str, known: list[tuple[float, RindNow]]) -> Evidence:
        own = self.settings_of(style)
        over = [(index, rind) for index, rind in known if index > own.highest_index]
        worst, rind = max(known, key=lambda pair: pair[0])
        time_ms = min(max(r.at_ms for _, r in known), moment.now_ms)
        clear = worst <= own.highest_index - own.deadband
        facts = {
            "style": style,
            "index": worst,
            "worst": rind.wheel,
            "way_in": rind.way_in,
            "unknown_hours": rind.unknown_hours,
            # Within the deadband the condition stands on for the wheel that is worst off.
            "wheels": [r.wheel for _, r in over] or [rind.wheel],
        }
        return Evidence(style, time_ms, bool(over), clear, facts)

    def alive(self, moment: Moment, key: str) -> bool:
        return any(entry.style == key for entry in moment.contents_by_room.get(self.room.id, ()))

    def finding(self, key: str, watch: Watch) -> Finding:
        facts = watch.facts
        return replace(
            self.describe(facts),
            since_ms=watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            certainty=round(1.0 / (1.0 + facts["unknown_hours"] / MONTH_HOURS), 2) if facts else None,
            wheels=tuple(facts["wheels"]),
        )
