"""Reasons for attention from the air: what it has done lately, what it did since air gets in, and what the link expects.

A look costs nothing, a weighing little, an iron a hole: where a fault shows outside a look is asked for, and where air
that dried hard meets no weighing, a weighing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from types import MappingProxyType

from monitor.clock import DAY_MS, to_ms
from monitor.link.exposure import Exposures, airs_of
from monitor.link.features import FAULTS, Moment, looks_of, way_in_at, ways_in
from monitor.link.life import Life, lives_of
from monitor.link.sightings import looks_for, sight_of
from monitor.link.skill import Ranged
from monitor.link.study import Study, study
from monitor.review.reasons import Act, Reason
from monitor.site import Site
from monitor.store.protocol import Store
from monitor.wheels import Ledger

AIR_WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "expected": 5.0,  # times the chance of a fault that nobody has found yet, by the link
        "way in": 0.03,  # times the days' worth of mould growth since air is known to get in
        "drying": 1.0,  # times the drying above the intended pace over `LATELY_DAYS`
        "weigh": 0.5,  # as dry, and not weighed in that time
    }
)
LATELY_DAYS = 30
LEAST_CHANCE, LEAST_PACE, LEAST_GROWTH = 0.10, 1.25, 10.0
MOST_OF_WAY_IN = 5.0
LATE_GROWTH = 100.0
"""Days' worth of mould growth after which blue, where it comes, is mostly there to be seen (invented, no source)."""
DOUBT_LEFT = 0.6
"""What a clear look leaves of the weight: looks miss some."""
ACT_OF: Mapping[str, Act] = MappingProxyType({"blue_under_cloth": "iron"})


def reasons_from_air(
    site: Site, store: Store, ledger: Ledger, at: datetime, weights: Mapping[str, float] = AIR_WEIGHTS
) -> dict[str, list[Reason]]:
    """For each wheel still there, the reasons that its air gives, by name."""
    lives = lives_of(ledger, at)
    exposures = Exposures(site, airs_of(store, lives))
    return reasons_of(lives, exposures, study(lives, exposures), at, weights)


def reasons_of(
    lives: Sequence[Life],
    exposures: Exposures,
    link: Study,
    at: datetime,
    weights: Mapping[str, float] = AIR_WEIGHTS,
) -> dict[str, list[Reason]]:
    """As `reasons_from_air`, from a study and exposures already made; wheels newer than those have less to go by."""
    found: dict[str, list[Reason]] = {}
    for life in lives:
        if life.gone or life.style not in exposures.site.style_by_id:
            continue
        reasons = [
            *_expected(life, link.chances.get(life.name, {}), weights),
            *_of_way_in(life, exposures, weights),
            *_of_drying(life, exposures, to_ms(at), weights),
        ]
        if reasons:
            found[life.name] = reasons
    return found


def _expected(life: Life, chances: Mapping[str, Ranged], weights: Mapping[str, float]) -> list[Reason]:
    """Faults that are likely and were not found, since the study neither."""
    reasons = []
    for fault, chance in chances.items():
        if chance.value >= LEAST_CHANCE and sight_of(looks_of(fault, life)).found_ms is None:
            words = (
                f"{FAULTS[fault]} not found, but likely by its air: {100 * chance.value:.0f} in 100 "
                f"({100 * chance.low:.0f} to {100 * chance.high:.0f})"
            )
            act = ACT_OF.get(fault, "look at the rind")
            reasons.append(Reason("expected", weights["expected"] * chance.value, words, act))
    return reasons


def _of_way_in(life: Life, exposures: Exposures, weights: Mapping[str, float]) -> list[Reason]:
    since = way_in_at(ways_in(life), life.until_ms)
    if since is None or exposures.site.style_by_id[life.style].rind == "washed":
        return []
    growth = Moment(exposures, life, since, life.until_ms, since).since_way_in("mould")
    if not growth >= LEAST_GROWTH:
        return []
    days = (life.until_ms - since) / DAY_MS
    words = (
        f"air gets in, known for {days:.0f} days with {growth:.0f} days' worth of mould growth since "
        "(common practice, no source)"
    )
    weight = min(MOST_OF_WAY_IN, weights["way in"] * growth) * DOUBT_LEFT ** _clear_since(life, since, growth)
    return [Reason("way in", weight, words, "look at the rind")]


def _clear_since(life: Life, since_ms: int, growth: float) -> int:
    """How many of the last looks for blue were clear after half the growth: blue that did not come may never come."""
    half_ms = since_ms + (life.until_ms - since_ms) * max(0.5, LATE_GROWTH / growth)
    steps = [step for at_ms, step in looks_for("blue_under_cloth", life.entries) if at_ms >= half_ms]
    return len(steps) if not any(steps) else 0


def _of_drying(life: Life, exposures: Exposures, at_ms: int, weights: Mapping[str, float]) -> list[Reason]:
    start = max(life.made_ms, at_ms - LATELY_DAYS * DAY_MS)
    pace = Moment(exposures, life, start, at_ms, None).late("twin_drying") if at_ms > start else 0.0
    if not pace > LEAST_PACE:
        return []
    words = f"dried at {pace:.1f} times the intended pace over the last {LATELY_DAYS} days"
    reasons = [
        Reason("drying", weights["drying"] * min(pace - 1.0, 3.0), f"{words}: cracks", "look at the rind")
    ]
    if not any(entry.kind == "weighing" and entry.at_ms >= start for entry in life.entries):
        reasons.append(Reason("weigh", weights["weigh"], f"{words}, and not weighed in that time", "weigh"))
    return reasons
