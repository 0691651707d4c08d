"""Places of one room that differ too much for too long."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from monitor.clock import TEN_MINUTES_MS
from monitor.records import AirRecord
from monitor.rules.base import Rule, wheels_at
from monitor.rules.contents_rule import sureness
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment, evidence_time
from monitor.rules.watch import Evidence, Watch
from monitor.rules.words import difference_text, place_name, wheels_text

MEMORY_H = 6.0
TWO_SIGMA = 2.0
FRESH_MS = 3 * TEN_MINUTES_MS


class UnevennessRule(Rule):
    """Unevenness: the means of two places over some six hours further apart than a limit, beyond their sensors' doubt.

    The doubt (two standard uncertainties of a difference, JCGM 100:2008 eq. 10) is taken off first, so that two
    ordinary sensors are not called an uneven room.  Limits and delay are common practice, no source.
    """

    name = "unevenness"

    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        means, changed = self.memory.setdefault("means", {}), None
        for record in self.new_air(moment):
            if record.place and record.temperature_c is not None and record.rh_pct is not None:
                self._take(means, record)
                changed = record
        if changed is None:
            return
        fresh = {p: m for p, m in means.items() if 0 <= changed.start_ms - m["start_ms"] <= FRESH_MS}
        for quantity, limit, dead in (
            ("temperature", self.settings.temperature_k, 0.3),
            ("humidity", self.settings.humidity_pct, 1.0),
        ):
            yield from self._of_quantity(moment, changed, fresh, quantity, (limit, dead))

    def _of_quantity(
        self,
        moment: Moment,
        record: AirRecord,
        means: dict[str, Any],
        quantity: str,
        limits: tuple[float, float],
    ) -> Iterator[Evidence]:
        if len(means) < 2:
            return
        low, high = (pick(means, key=lambda p: means[p][quantity]) for pick in (min, max))
        apart = means[high][quantity] - means[low][quantity]
        sigma = math.hypot(means[high][f"{quantity}_sigma"], means[low][f"{quantity}_sigma"])
        excess = apart - TWO_SIGMA * sigma - limits[0]
        facts = {
            "low": low,
            "high": high,
            "apart": apart,
            "sigma": sigma,
            "limit": limits[0],
            "wheels": sorted({*wheels_at(moment, self.room, low), *wheels_at(moment, self.room, high)}),
        }
        time_ms = evidence_time(record, moment.now_ms)
        yield Evidence(quantity, time_ms, excess > 0, excess <= -limits[1], facts)

    def _take(self, means: dict[str, Any], record: AirRecord) -> None:
        """Move a place's means on; a slot in progress counts once, with what was first known of it."""
        known = means.get(record.place)
        sigmas = {
            "temperature_sigma": record.temperature_sigma_k or 0.0,
            "humidity_sigma": record.rh_sigma_pct or 0.0,
        }
        if known is None or record.start_ms - known["start_ms"] > MEMORY_H * 3_600_000:
            values = {"temperature": record.temperature_c, "humidity": record.rh_pct}
        elif record.start_ms <= known["start_ms"]:
            return
        else:
            share = 1.0 - math.exp(-(record.start_ms - known["start_ms"]) / (MEMORY_H * 3_600_000))
            assert record.temperature_c is not None
            assert record.rh_pct is not None
            values = {
                "temperature": known["temperature"] + share * (record.temperature_c - known["temperature"]),
                "humidity": known["humidity"] + share * (record.rh_pct - known["humidity"]),
            }
        means[record.place] = {"start_ms": record.start_ms, **values, **sigmas}

    def _rewind(self, now_ms: int) -> None:
        super()._rewind(now_ms)
        for known in self.memory.get("means", {}).values():
            known["start_ms"] = min(known["start_ms"], now_ms - now_ms % TEN_MINUTES_MS)

    def finding(self, key: str, watch: Watch) -> Finding:
        facts = watch.facts
        high, low = place_name(self.room, facts["high"]), place_name(self.room, facts["low"])
        warm = key == "temperature"
        apart = difference_text(self.site, facts["apart"]) if warm else f"{facts['apart']:.0f} points"
        return Finding(
            rule=self.name,
            room=self.room.id,
            aspect=key,
            since_ms=watch.since_ms or watch.seen_ms,
            seen_ms=watch.seen_ms,
            what=f"{high} is {apart} {'warmer' if warm else 'damper'} than {low}, for hours",
            check_first="Does air reach both places; is one at the coil, the door or a wet wall? Move wheels round",
            priority=Priority.LOW,
            effect=f"{wheels_text(len(facts['wheels']))} do not have the same air; they "
            f"{'ripen' if warm else 'dry'} unevenly",
            wheels=tuple(facts["wheels"]),
            certainty=sureness(facts["apart"] - facts["limit"], facts["sigma"]),
            numbers={
                f"apart_{'k' if warm else 'pct'}": round(facts["apart"], 2),
                "places": [facts["low"], facts["high"]],
            },
        )
