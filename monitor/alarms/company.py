"""Which alarms belong together: in one message, or not worth a message beside what was told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from monitor.alarms.lifecycle import QUIET, State
from monitor.rules.finding import Priority
from monitor.site import Site

MINUTE_MS = 60_000
COMPANY_MS = 60 * MINUTE_MS
"""For so long [ms] after a message further alarms of its cause are no news."""
SATURATED, WET_SENSOR = ("free_water", "saturated"), ("sensor_health", "wet")
STEPS: dict[str, tuple[float, float, tuple[str, ...]]] = {
    "damp": (1.0, 5.0, ("rh_pct", "value_pct")),
    "dry": (-1.0, 5.0, ("rh_pct", "value_pct")),
    "warm": (1.0, 1.0, ("temperature_c", "value_c")),
    "cold": (-1.0, 1.0, ("temperature_c", "value_c")),
}
"""For each side the sign of what is worse, how much of it [% RH or K] is news, and the numbers it is read from.

How much is news is common practice, no source."""
SIDES: dict[str, tuple[tuple[str, str], ...]] = {
    "damp": (
        ("band", "humidity-high"),
        ("trend", "humidity-high"),
        ("drying_pace", "slow"),
        ("mould_pace", "fast"),
        ("mould_pace", "growing"),
        SATURATED,
    ),
    "dry": (
        ("band", "humidity-low"),
        ("trend", "humidity-low"),
        ("drying_pace", "fast"),
        ("unusual_air", "dry"),
    ),
    "warm": (
        ("band", "temperature-high"),
        ("trend", "temperature-high"),
        ("unusual_air", "warm"),
        ("warmth", "week-warm"),
    ),
    "cold": (("band", "temperature-low"), ("trend", "temperature-low"), ("warmth", "week-cold")),
}
"""Conditions (rule and aspect) of one room that say the same of its air: whoever knows of one learns nothing by another."""
LONE_HOLD_MS = 20 * MINUTE_MS
"""Most lone silences are a radio that is back before this; common practice, no source."""
MANY = 3
"""So many sensors silent at once have one cause, for all that is known."""


def group_of(alarm: dict[str, Any]) -> str:
    """What brings an alarm (a row) together with others in one message: its cause, else silence, else its room."""
    finding = alarm["finding"]
    if cause := _cause(alarm):
        return f"cause/{cause}"
    return "silence" if finding["rule"] == "silence" else f"room/{finding['room']}"


def goes_with(alarm: dict[str, Any], told: Sequence[dict[str, Any]], age_ms: int) -> Sequence[dict[str, Any]]:
    """What was told beside which an alarm is no news: of one cause, no less pressing, and soon or not yet answered.

    A sensor that falls silent after many others did belongs to them even where no rule knew the cause.  Where all that
    stands is answered, what asks for somebody now is news whatever its cause: nobody would be reminded of it.
    """
    standing = _standing(alarm, told)
    soon = age_ms <= COMPANY_MS
    silent = alarm["finding"]["rule"] == "silence"
    if not _cause(alarm):
        return standing if silent and soon and len(told) >= MANY else []
    urgent = alarm["priority"] >= Priority.HIGH and not silent
    if urgent and answers(standing) is not None:
        return []
    answered = any(row["state"] == State.ACKNOWLEDGED for row in told)
    return standing if silent or soon or not answered else []


def answers(beside: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    """Of alarms, where all of them are answered, the one that was answered last."""
    if not beside or any(row["state"] != State.ACKNOWLEDGED for row in beside):
        return None
    return max(beside, key=lambda row: row["acknowledged_ms"] or 0)


def hold_ms(site: Site, alarm: dict[str, Any]) -> int:
    """How long a message waits before it leaves: for others, or for a lone sensor to come back by itself."""
    if not _is_held(alarm) or site.alarms.hold_s == 0:
        return 0
    lone_ms = LONE_HOLD_MS if alarm["priority"] == Priority.LOW else 0
    return max(round(site.alarms.hold_s * 1000), lone_ms)


def stands(row: dict[str, Any]) -> bool:
    """Whether an alarm's condition holds."""
    return row["ended_ms"] is None and bool(row["active"])


def _cause(alarm: dict[str, Any]) -> str:
    return str(alarm["finding"].get("cause") or "")


def groups_that_tell(alarm: dict[str, Any]) -> list[str]:
    """The groups among whose messages there may be one that tells what an alarm says: its own first."""
    finding = alarm["finding"]
    air = [f"cause/air:{finding['room']}"] if _named(finding) == WET_SENSOR else []
    return [group_of(alarm), *air]


def says_the_same(alarm: dict[str, Any], told: Sequence[dict[str, Any]]) -> Sequence[dict[str, Any]]:
    """What was told and stands that says the same of the air as an alarm: too damp, then drying too slowly.

    Air further out than was told (`further_out`) is news.  A sensor that stands at 100 % says what saturated air at its
    place says, where that was told first: a sensor that only is wet shows so sooner than its air counts as saturated.
    """
    finding, standing = alarm["finding"], _standing(alarm, told)
    if _named(finding) == WET_SENSOR:
        wet = [row for row in standing if _named(row["finding"]) == SATURATED]
        return [row for row in wet if finding["place"] in row["finding"]["numbers"].get("places", ())]
    side = _side(finding)
    same = [row for row in standing if _side(row["finding"]) == side]
    known = [row["finding"] for row in told if row.get("told", True) and _side(row["finding"]) == side]
    return same if side and not further_out(finding, known) else []


def answered_ms(row: dict[str, Any], standing: Sequence[dict[str, Any]]) -> int:
    """When an answered alarm was last answered [ms], itself or by one that stands and says the same of its room's air."""
    answers = (other["acknowledged_ms"] for other in [row, *story_of(row, standing)])
    # What was answered with another that is over by now counts from when it was raised.
    return max((ms for ms in answers if ms is not None), default=int(row["raised_ms"]))


def story_of(row: dict[str, Any], standing: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The answered alarms, no less pressing, that stand and say the same of a room's air as another."""
    side, room = _side(row["finding"]), row["finding"]["room"]
    return [
        other
        for other in standing
        if side
        and other["id"] != row["id"]
        and other["state"] == State.ACKNOWLEDGED
        and other["finding"]["room"] == room
        and _side(other["finding"]) == side
        and other["priority"] >= row["priority"]
    ]


def as_answered(
    row: dict[str, Any], standing: Sequence[dict[str, Any]], raised: Mapping[int, dict[str, Any]]
) -> dict[str, Any] | None:
    """The finding (as data) that a person answered: an alarm's own, or that of the story with which it was answered."""
    if row["acknowledged_ms"] is not None:
        return raised.get(row["id"])
    told = [raised[o["id"]] for o in story_of(row, standing) if o["acknowledged_ms"] and o["id"] in raised]
    side = _side(row["finding"])
    known = [finding for finding in told if _value(finding, side) is not None]
    sign = STEPS[side][0] if side else 0.0
    return max(known, key=lambda f: sign * (_value(f, side) or 0.0), default=raised.get(row["id"]))


def further_out(finding: dict[str, Any], known: Sequence[dict[str, Any]]) -> bool:
    """Whether a finding's air is worse by a step (`STEPS`) than that of any that is known; False where it has no figure."""
    side = _side(finding)
    value = _value(finding, side)
    values = [v for other in known if (v := _value(other, side)) is not None]
    if value is None or not values:
        return False
    sign, step, _ = STEPS[side]
    return sign * value >= max(sign * v for v in values) + step


def may_get_worse(finding: dict[str, Any]) -> bool:
    """Whether a finding is one whose standing alarm is told again where the air gets `further_out`."""
    return finding["rule"] == "band"


def _standing(alarm: dict[str, Any], told: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Of what was told, what stands, is no less pressing, and is not put aside: who put one aside did not answer another."""
    live = (row for row in told if stands(row) and row["state"] not in QUIET)
    return [row for row in live if row["priority"] >= alarm["priority"]]


def _is_held(alarm: dict[str, Any]) -> bool:
    """Whether others are likely to follow within moments, and it can wait for them: sensors fall silent together."""
    return alarm["finding"]["rule"] == "silence" and alarm["priority"] < Priority.CRITICAL


def _named(finding: dict[str, Any]) -> tuple[str, str]:
    return finding["rule"], finding["aspect"]


def _side(finding: dict[str, Any]) -> str:
    return next((side for side, conditions in SIDES.items() if _named(finding) in conditions), "")


def _value(finding: dict[str, Any], side: str) -> float | None:
    """How damp [%] or warm [degC] a finding says the air is."""
    numbers = finding["numbers"]
    names = STEPS[side][2] if side else ()
    return next((float(numbers[name]) for name in names if numbers.get(name) is not None), None)
