"""Which wheels deserve attention now, each with its reasons: what the ledger says of them, and what their air did.

The weights are the project's own (common practice, no source): a table to change, not a law.  Reasons from the air
come from `monitor.review.next_to_grade_air`; without them the ledger alone ranks, fast for any number of wheels.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from types import MappingProxyType
from typing import Any

from monitor.clock import DAY_MS, from_ms, rfc3339, to_ms
from monitor.link.sightings import looks_for, sight_of
from monitor.review.reasons import Act, Reason
from monitor.site import Site
from monitor.wheels import Entry, Ledger, Wheel
from monitor.wheels.words import RIND_SCALES

WEIGHTS: Mapping[str, float] = {
    "window": 2.0,  # its style's age for grading is reached and it was not graded since
    "look again": 3.0,  # the date that a grading set has come
    "promised": 3.0,  # promised within `PROMISED_WITHIN_DAYS`
    "fault": 1.5,  # each step of a fault above the first, seen at one of the last two looks
    "faint fault": 0.5,  # a fault seen at the first step, more than once
    "blue inside": 2.0,  # blue under the cloth or at a plug on top of its steps: it goes on growing
    "brushed off": 0.5,  # what is left of the weight of a fault that brushing takes off
    "unsealed plug": 1.5,  # air gets in, and nobody has looked since
    "not looked at": 1.0,  # rind not looked at within `LOOK_EVERY_DAYS`
    "not weighed": 0.5,  # not weighed within `WEIGH_EVERY_DAYS`
    "hole": -0.5,  # each hole so far: another costs
}
PROMISED_WITHIN_DAYS = 14
LOOK_EVERY_DAYS = 30
WEIGH_EVERY_DAYS = 60
BRUSHED_OFF = ("mites",)
INSIDE = ("blue_under_cloth", "blue_at_plug")
NOTHING: Mapping[str, Sequence[Reason]] = MappingProxyType({})


@dataclass(frozen=True)
class Ranked:
    """A wheel with its reasons, heaviest first, and what tells most now: a look, a weighing, or an iron."""

    wheel: Wheel
    score: float
    reasons: tuple[Reason, ...]
    act: Act


def next_to_grade(
    site: Site,
    ledger: Ledger,
    at: datetime,
    weights: Mapping[str, float] = WEIGHTS,
    further: Mapping[str, Sequence[Reason]] = NOTHING,
) -> list[Ranked]:
    """Wheels that are still there and have a reason for attention, the most deserving first.

    A look costs nothing and an iron costs a hole: where both have grounds, the look comes first.

    Parameters
    ----------
    further : reasons from elsewhere by wheel, as `monitor.review.next_to_grade_air.reasons_from_air` gives them
    """
    wheels = ledger.wheels(at=at)
    histories = ledger.histories([wheel.name for wheel in wheels])
    return rank(site, wheels, histories, at, weights, further)


def rank(
    site: Site,
    wheels: Sequence[Wheel],
    histories: Mapping[str, Sequence[Entry]],
    at: datetime,
    weights: Mapping[str, float] = WEIGHTS,
    further: Mapping[str, Sequence[Reason]] = NOTHING,
) -> list[Ranked]:
    """As `next_to_grade`, from wheels and their entries already read."""
    ranked = []
    for wheel in wheels:
        entries = [e for e in histories[wheel.name] if e.effective and e.at_ms <= to_ms(at)]
        reasons = [*_reasons(site, wheel, entries, at, weights), *further.get(wheel.name, ())]
        if any(reason.weight > 0 for reason in reasons):
            ordered = tuple(sorted(reasons, key=lambda reason: -reason.weight))
            ranked.append(Ranked(wheel, sum(r.weight for r in reasons), ordered, _act(ordered)))
    return sorted(ranked, key=lambda r: (-r.score, r.wheel.name))


def next_to_grade_document(
    site: Site,
    ledger: Ledger,
    at: datetime,
    first: int | None = None,
    further: Mapping[str, Sequence[Reason]] = NOTHING,
) -> dict[str, Any]:
    """The ``next-to-grade`` document: the ranked wheels, all or the first few, with act and reasons."""
    rows = [
        {
            "wheel": r.wheel.name,
            "style": r.wheel.style,
            "room": r.wheel.room,
            "place": r.wheel.place,
            "score": round(r.score, 2),
            "act": r.act,
            "reasons": [{"key": reason.key, "words": reason.words} for reason in r.reasons],
        }
        for r in next_to_grade(site, ledger, at, further=further)[:first]
    ]
    return {"version": 1, "at": rfc3339(at), "wheels": rows}


def _act(reasons: Sequence[Reason]) -> Act:
    acts = [reason.act for reason in reasons]
    for act in ("look at the rind", "iron", "weigh"):
        if act in acts:
            return act
    return "look at the rind"


def _reasons(
    site: Site, wheel: Wheel, entries: list[Entry], at: datetime, weights: Mapping[str, float]
) -> list[Reason]:
    last = {entry.kind: entry for entry in entries}
    found = [
        *_of_dates(site, wheel, last, at, weights),
        *_of_faults(entries, weights),
        *_of_plugs(entries, last.get("inspection"), weights),
        *_of_silence(wheel, last, at, weights),
    ]
    if wheel.holes:
        words = f"{wheel.holes} hole{'s' if wheel.holes > 1 else ''} so far"
        found.append(Reason("hole", weights["hole"] * wheel.holes, words))
    return found


def _of_dates(
    site: Site, wheel: Wheel, last: Mapping[str, Entry], at: datetime, weights: Mapping[str, float]
) -> list[Reason]:
    today = at.astimezone(site.site.zone).date()
    found = []
    style = site.style_by_id.get(wheel.style)
    from_day = style.grading_from_day if style else None
    if from_day is not None and wheel.age_days(at) >= from_day and "grading" not in last:
        days = wheel.age_days(at) - from_day
        found.append(
            Reason(
                "window",
                weights["window"],
                f"old enough to grade for {days:.0f} days, not graded yet",
                "iron",
            )
        )
    if wheel.look_again_on and date.fromisoformat(wheel.look_again_on) <= today:
        found.append(
            Reason(
                "look again", weights["look again"], f"to be looked at again on {wheel.look_again_on}", "iron"
            )
        )
    if wheel.promised_on:
        left = (date.fromisoformat(wheel.promised_on) - today).days
        if left <= PROMISED_WITHIN_DAYS:
            found.append(Reason("promised", weights["promised"], f"promised for {wheel.promised_on}", "iron"))
    return found


def _of_faults(entries: Sequence[Entry], weights: Mapping[str, float]) -> list[Reason]:
    found = []
    for name, scale in RIND_SCALES.items():
        looks = looks_for(name, entries) if scale.sort == "fault" else []
        at_ms, step = max(looks[-2:], key=lambda look: (look[1], look[0]), default=(0, 0))
        sure = sight_of(looks).found_ms is not None
        if step >= 2 or (step == 1 and sure):
            words = f"{scale.label} {step} of 4 on {from_ms(at_ms):%d %B %Y}"
            weight = weights["fault"] * (step - 1) if step >= 2 else weights["faint fault"]
            if name in INSIDE:
                weight += weights["blue inside"]
            if name in BRUSHED_OFF:
                weight *= weights["brushed off"]
            found.append(Reason("fault", weight, words, "look at the rind"))
    return found


def _of_plugs(
    entries: Sequence[Entry], inspection: Entry | None, weights: Mapping[str, float]
) -> list[Reason]:
    seen_ms = inspection.at_ms if inspection else -1
    unsealed = [
        e for e in entries if e.kind == "ironing" and e.details.get("sealed") is False and e.at_ms > seen_ms
    ]
    if not unsealed:
        return []
    words = f"a plug left unsealed on {unsealed[-1].at:%d %B %Y}, not looked at since (common practice, no source)"
    return [Reason("unsealed plug", weights["unsealed plug"], words, "look at the rind")]


def _of_silence(
    wheel: Wheel, last: Mapping[str, Entry], at: datetime, weights: Mapping[str, float]
) -> list[Reason]:
    found = []
    kinds: tuple[tuple[str, str, str, int, Act], ...] = (
        ("inspection", "not looked at", "rind not looked at", LOOK_EVERY_DAYS, "look at the rind"),
        ("weighing", "not weighed", "not weighed", WEIGH_EVERY_DAYS, "weigh"),
    )
    for kind, key, words, every, act in kinds:
        since = last[kind].at_ms if kind in last else to_ms(wheel.made_at)
        days = (to_ms(at) - since) / DAY_MS
        if days > every:
            found.append(Reason(key, weights[key], f"{words} for {days:.0f} days", act))
    return found


__all__ = ["WEIGHTS", "Ranked", "Reason", "next_to_grade", "next_to_grade_document"]
