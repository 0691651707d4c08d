"""Sample documents in the shapes of monitor/docs/json.md: an invented site, normal, alarmed, empty and broken.

All rooms, makes and people are invented; the numbers are plausible and measured by nobody.
"""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import Any

from monitor.clock import now, rfc3339

STATES = ("normal", "alarmed", "empty", "broken")
HOSTILE = '<script>document.title="owned"</script> **[x](javascript:alert(1))** $\\frac{1}{2}$ :red[:smile:] 🧀 "\'`'
Document = dict[str, Any]


def _trail(end: datetime, temperature_c: float, rh_pct: float, drift_pct: float) -> list[Document]:
    points = []
    for step in range(144):
        if 60 <= step < 66:
            continue
        share = step / 143
        late = max(0.0, share - 0.7) / 0.3
        points.append({
            "at": rfc3339(end - timedelta(minutes=10 * (143 - step))),
            "temperature_c": temperature_c - 0.5 * late * (drift_pct != 0) + 0.35 * math.sin(share * 6.3) * (1 - late),
            "rh_pct": rh_pct - drift_pct * (1 - late) + 0.9 * math.sin(share * 17 + 1) * (1 - 0.7 * late),
        })  # fmt: skip
    return points


def _room(
    at: datetime,
    identifier: str,
    name: str,
    kind: str,
    style: str,
    air: tuple[float, float],
    bands: tuple[list[float], list[float]],
    wheels: int,
    drift: float = 0.0,
) -> Document:
    temperature_c, rh_pct = air
    return {
        "id": identifier, "name": name, "kind": kind, "state": "as-intended",
        "sentence": f"{wheels} {style.lower()} wheels, steady inside their band for 9 days.",
        "check_first": None,
        "temperature_c": temperature_c, "temperature_sigma_k": 0.3, "rh_pct": rh_pct, "rh_sigma_pct": 1.4,
        "dew_point_c": temperature_c - 2.4, "vapour_pressure_deficit_pa": 190.0,
        "reading_at": rfc3339(at - timedelta(seconds=70)), "reading_age_s": 70.0, "stale": False,
        "drying_pace": {"value": 1.04, "low": 0.86, "high": 1.2},
        "mould_pace": {"value": 1.1, "low": 0.8, "high": 1.4},
        "wheels": wheels,
        "bands": [{"style": style.lower(), "style_name": style, "stage": "month 4 to 14", "wheels": wheels, "temperature_c": bands[0], "rh_pct": bands[1]}],
        "trail": _trail(at, temperature_c, rh_pct, drift),
        "places": [
            {"id": "low", "name": "Lower shelves", "temperature_c": temperature_c - 0.4, "rh_pct": rh_pct + 1.2, "coverage": 0.98, "reading_at": rfc3339(at - timedelta(seconds=70))},
            {"id": "high", "name": "Upper shelves", "temperature_c": temperature_c + 0.5, "rh_pct": rh_pct - 1.6, "coverage": 1.0, "reading_at": rfc3339(at - timedelta(seconds=95))},
        ],
        "sensors": [
            {"id": f"{identifier}-low", "place": "low", "last_seen_at": rfc3339(at - timedelta(seconds=70)), "age_s": 70.0, "silent": False, "flag": 1, "reason": "", "battery_pct": 81.0},
            {"id": f"{identifier}-high", "place": "high", "last_seen_at": rfc3339(at - timedelta(seconds=95)), "age_s": 95.0, "silent": False, "flag": 1, "reason": "", "battery_pct": 34.0},
        ],
        "contacts": [{"sensor": f"{identifier}-door", "quantity": "door_open", "on": False, "since_at": None}],
        "findings": [],
    }  # fmt: skip


def rooms(state: str = "normal", at: datetime | None = None) -> Document:
    """The rooms document of a state."""
    at = at or now()
    document: Document = {
        "version": 1, "at": rfc3339(at),
        "site": {"name": "Hazelbank maturing rooms", "time_zone": "Europe/Dublin", "display_unit": "degC"},
        "monitor": {"running": True, "last_beat_at": rfc3339(at - timedelta(seconds=3)), "age_s": 3.0},
        "rooms": [
            _room(at, "north", "North vault", "cave", "Cloth-bound", (11.2, 84.5), ([10.0, 12.0], [82.0, 88.0]), 64),
            _room(at, "lower", "Lower vault", "cellar", "Natural rind", (11.0, 88.2), ([10.0, 13.0], [85.0, 91.0]), 38),
            _room(at, "brine", "Wash room", "cold-room", "Washed rind", (12.6, 94.1), ([12.0, 14.0], [92.0, 96.0]), 21),
        ],
        "rejects": {"total": 0, "by_reason": {}, "newest": []},
        "cautions": ["The air of a closed maturing room can hold ammonia and carbon dioxide. Air it before you stay in it; local rules and licensed practice decide."],
    }  # fmt: skip
    if state in ("alarmed", "broken"):
        _alarm_rooms(document, at)
    if state == "empty":
        for room in document["rooms"]:
            _empty_room(room)
        document["cautions"] = []
    if state == "broken":
        document["monitor"] = {
            "running": False,
            "last_beat_at": rfc3339(at - timedelta(hours=2, minutes=4)),
            "age_s": 7440.0,
        }
        for room in document["rooms"]:
            room.update(
                stale=True,
                state="no-reading",
                reading_age_s=7500.0,
                reading_at=rfc3339(at - timedelta(seconds=7500)),
                sentence="No reading since the monitor stopped.",
            )
    return document


def _alarm_rooms(document: Document, at: datetime) -> None:
    north, lower, wash = document["rooms"]
    north.update(
        state="needs-you", temperature_c=11.8, rh_pct=78.8, trail=_trail(at, 11.8, 78.8, -7.0),
        sentence="64 cloth-bound wheels drying at 2.3 times their intended pace.",
        check_first="Door seal, then the humidifier's water.",
        drying_pace={"value": 2.3, "low": 2.0, "high": 2.6}, mould_pace={"value": 0.7, "low": 0.5, "high": 0.9},
        findings=[{"rule": "drying_pace", "what": "Drying too fast", "since_at": rfc3339(at - timedelta(hours=2, minutes=32)), "effect": "About 40 g lost from each wheel by this evening; rinds may crack if it lasts three days.", "check_first": "Door seal, then the humidifier's water.", "priority": "medium", "wheels": [f"K-{n:03}" for n in range(80, 144)], "numbers": {}}],
    )  # fmt: skip
    north["contacts"] = [
        {"sensor": "north-door", "quantity": "door_open", "on": True, "since_at": rfc3339(at - timedelta(minutes=23))},
        {"sensor": "north-tank", "quantity": "water_low", "on": True, "since_at": rfc3339(at - timedelta(hours=3))},
    ]  # fmt: skip
    north["trail"] = _trail(at, 11.8, 78.8, -7.0)
    wash.update(
        state="now", temperature_c=17.4, rh_pct=93.2, sentence="21 washed-rind wheels at 17.4 °C and rising.", trail=_trail(at, 17.4, 93.2, 0.5),
        check_first="Is the cooling running? Look at its breaker from outside; leave the wiring to a licensed person.",
        drying_pace={"value": 1.5, "low": 1.2, "high": 1.9}, mould_pace={"value": 3.1, "low": 2.4, "high": 3.9},
        findings=[
            {"rule": "band", "what": "Too warm", "since_at": rfc3339(at - timedelta(hours=1, minutes=22)), "effect": "Rinds turn slimy and coats run within a day at this warmth.", "check_first": "Is the cooling running?", "priority": "high", "wheels": ["W-201"], "numbers": {}},
            {"rule": "mould_pace", "what": "Unwanted mould growing too fast", "since_at": rfc3339(at - timedelta(minutes=50)), "effect": "Grey fur can show in 4 days instead of 12.", "check_first": None, "priority": "medium", "wheels": ["W-201"], "numbers": {}},
        ],
    )  # fmt: skip
    wash["trail"] = _trail(at, 17.4, 93.2, 0.5)
    for index, point in enumerate(wash["trail"]):
        point["temperature_c"] = 12.8 + (4.6 * max(0.0, index - 118) / (len(wash["trail"]) - 119))
    lower.update(name="Lower vault " + HOSTILE)
    lower["sensors"][1].update(
        silent=True, age_s=5400.0, reason="no reading for 1 h 30 min; expected every minute"
    )
    document["rejects"] = {
        "total": 14,
        "by_reason": {"not JSON": 9, "time is in 1970": 5},
        "newest": [
            {
                "at": rfc3339(at - timedelta(minutes=3)),
                "topic": "maturing/lower-high/senml",
                "reason": "not JSON",
                "payload": HOSTILE,
            }
        ],
    }


def _empty_room(room: Document) -> None:
    room.update(
        state="no-wheels", sentence="No wheels here and no reading yet.", temperature_c=None, temperature_sigma_k=None, rh_pct=None,
        rh_sigma_pct=None, dew_point_c=None, vapour_pressure_deficit_pa=None, reading_at=None, reading_age_s=None, stale=True,
        drying_pace=None, mould_pace=None, wheels=0, bands=[], trail=[], places=[], sensors=[], findings=[],
    )  # fmt: skip


def _alarm(at: datetime, identifier: int, **changes: Any) -> Document:
    alarm: Document = {
        "id": identifier, "state": "unacknowledged", "priority": "medium", "rule": "drying_pace", "room": "north", "room_name": "North vault",
        "place": "", "sensor": "", "style": "cloth-bound", "wheel": "", "what": "Drying too fast",
        "effect": "About 40 g lost from each wheel by this evening; rinds may crack if it lasts three days.",
        "check_first": "Door seal, then the humidifier's water.", "wheels": [f"K-{n:03}" for n in range(80, 144)], "numbers": {"pace": 2.3},
        "since_at": rfc3339(at - timedelta(hours=2, minutes=32)), "raised_at": rfc3339(at - timedelta(minutes=32)),
        "acknowledged_at": None, "acknowledged_by": None, "note": None, "returned_at": None,
        "messages": [{"route": "mail", "about": "raised", "state": "sent", "attempts": 1, "last_attempt_at": rfc3339(at - timedelta(minutes=32)), "sent_at": rfc3339(at - timedelta(minutes=32)), "error": ""}],
    }  # fmt: skip
    return {**alarm, **changes}


def alarms(state: str = "normal", at: datetime | None = None) -> Document:
    """The alarms document of a state."""
    at = at or now()
    document: Document = {"version": 1, "at": rfc3339(at), "standing": [], "recent": []}
    if state != "empty":
        document["recent"] = [
            _alarm(at, 9, state="acknowledged", since_at=rfc3339(at - timedelta(days=3)), raised_at=rfc3339(at - timedelta(days=3)), acknowledged_at=rfc3339(at - timedelta(days=2.9)), acknowledged_by="Imelda", note="Door left ajar after turning.", returned_at=rfc3339(at - timedelta(days=2.8)), ended_at=rfc3339(at - timedelta(days=2.8))),
            _alarm(at, 4, rule="silence", what="Sensor lower-high is silent", room="lower", room_name="Lower vault", wheels=[], effect="Nobody knows the air at the upper shelves.", check_first="Its battery.", since_at=rfc3339(at - timedelta(days=20)), raised_at=rfc3339(at - timedelta(days=20)), acknowledged_at=None, returned_at=rfc3339(at - timedelta(days=20)), ended_at=rfc3339(at - timedelta(days=20))),
        ]  # fmt: skip
    if state in ("alarmed", "broken"):
        document["standing"] = [
            _alarm(at, 17, priority="high", rule="band", room="brine", room_name="Wash room", what="Too warm", effect="Rinds turn slimy and coats run within a day at this warmth.", check_first="Is the cooling running? Look at its breaker from outside; leave the wiring to a licensed person.", wheels=["W-201", "W-202"], since_at=rfc3339(at - timedelta(hours=1, minutes=22)), raised_at=rfc3339(at - timedelta(minutes=52)), messages=[{"route": "mail", "about": "raised", "state": "failed", "attempts": 4, "last_attempt_at": rfc3339(at - timedelta(minutes=12)), "sent_at": None, "error": "connection refused"}]),
            _alarm(at, 16),
            _alarm(at, 15, state="acknowledged", priority="low", rule="silence", what="Sensor lower-high is silent", room="lower", room_name="Lower vault " + HOSTILE, sensor="lower-high", wheels=[], effect="Nobody knows the air at the upper shelves.", check_first="Its battery.", acknowledged_at=rfc3339(at - timedelta(minutes=5)), acknowledged_by="Imelda", note=HOSTILE),
        ]  # fmt: skip
    return document


def wheels(state: str = "normal", at: datetime | None = None) -> Document:
    """The wheels document of a state."""
    at = at or now()
    names = [] if state == "empty" else ["K-114", "K-115", "N-032", "W-201", "A wheel " + HOSTILE]
    return {
        "version": 1, "at": rfc3339(at),
        "wheels": [
            {"name": name, "make": name[:1] + "-2026-01", "style": "cloth-bound", "style_name": "Cloth-bound", "room": "north", "room_name": "North vault", "place": "low", "age_days": 331 - 20 * index, "last_inspection_at": rfc3339(at - timedelta(days=12)), "last_ironing_at": None, "last_grading_at": None, "last_weighing_at": rfc3339(at - timedelta(days=40))}
            for index, name in enumerate(names)
        ],
    }  # fmt: skip


def review(name: str, state: str = "normal", at: datetime | None = None) -> Document:
    """The review document of a wheel."""
    at = at or now()
    made = at - timedelta(days=331)
    course = []
    for step in range(0, 331 * 4):
        moment = made + timedelta(hours=6 * step)
        day_count = step / 4
        if 140 <= day_count < 147:
            continue
        season = math.sin((day_count - 60) / 365 * 6.28)
        dry = 9.0 if 250 <= day_count < 262 else 0.0
        young = day_count < 30
        course.append({
            "at": rfc3339(moment), "temperature_c": 11.0 + 1.1 * season + 0.3 * math.sin(step * 0.9), "rh_pct": (92 if young else 85) - dry + 1.4 * math.sin(step * 0.37),
            "temperature_low_c": 10.0, "temperature_high_c": 12.0, "rh_low_pct": 90.0 if young else 82.0, "rh_high_pct": 94.0 if young else 88.0,
        })  # fmt: skip
    weighings = [
        {"at": rfc3339(made), "mass_kg": 25.2},
        {"at": rfc3339(made + timedelta(days=90)), "mass_kg": 24.31},
        {"at": rfc3339(made + timedelta(days=290)), "mass_kg": 22.9},
    ]
    expected = [
        {
            "at": rfc3339(made + timedelta(days=d)),
            "mass_kg": 25.2 - 0.0072 * d,
            "low_kg": 25.2 - 0.0072 * d - 0.0006 * d,
            "high_kg": 25.2 - 0.0072 * d + 0.0006 * d,
        }
        for d in range(0, 332, 7)
    ]
    return {
        "version": 1, "at": rfc3339(at),
        "wheel": {"name": name, "make": "K-2026-01", "style": "cloth-bound", "style_name": "Cloth-bound", "made_at": rfc3339(made), "age_days": 331.0, "stage": "month 4 to 14", "mass_at_make_kg": 25.2, "gone": None, "equivalent_age_days": {"value": 318.0, "low": 301.0, "high": 336.0}, "raw_milk": True, "decision": None},
        "where": {"room": "north", "room_name": "North vault", "place": "low", "place_name": "Lower shelves", "since_at": rfc3339(made + timedelta(days=30))},
        "air": {
            "coverage": 0.97, "course": course,
            "spans": [
                {"room": "brine", "room_name": "Wash room", "place": "low", "from_at": rfc3339(made), "to_at": rfc3339(made + timedelta(days=30)), "days": 30.0, "coverage": 0.99, "temperature_c": {"mean": 10.4, "min": 9.2, "max": 11.6}, "rh_pct": {"mean": 92.0, "min": 88.0, "max": 95.1}, "days_too_warm": 0.0, "days_too_cold": 1.2, "days_too_damp": 0.6, "days_too_dry": 0.4},
                {"room": "north", "room_name": "North vault", "place": "low", "from_at": rfc3339(made + timedelta(days=30)), "to_at": rfc3339(at), "days": 301.0, "coverage": 0.96, "temperature_c": {"mean": 11.3, "min": 9.6, "max": 13.1}, "rh_pct": {"mean": 84.6, "min": 73.0, "max": 89.9}, "days_too_warm": 21.4, "days_too_cold": 2.2, "days_too_damp": 1.3, "days_too_dry": 12.8},
            ],
        },
        "doses": [
            {"name": "drying", "words": "dried 1.2 times as far as intended", "value": 412.0, "reference": 343.0, "pace": {"value": 1.2, "low": 1.05, "high": 1.35}, "coverage": 0.97},
            {"name": "mould", "words": "mould had about the growth intended", "value": 88.0, "reference": 92.0, "pace": {"value": 0.96, "low": 0.7, "high": 1.3}, "coverage": 0.97},
        ],
        "weight": {"weighings": weighings, "expected": expected, "loss_pct": 9.1, "now": {"value": 22.8, "low": 22.6, "high": 23.0}, "note": "last weighed 41 days ago"},
        "rind": {
            "at": rfc3339(at), "late": False, "water_activity": 0.934, "surface_temperature_c": 11.1, "core_temperature_c": 11.0, "loss_kg_per_day": 0.0071,
            "free_water_hours": 3.0, "unknown_hours": 168.0, "needs_weighing": True, "way_in": "plug",
            "profile": [{"depth_mm": d, "moisture_pct": 36.5 - 15.0 * math.exp(-d / 6.0), "water_activity": 0.96} for d in range(0, 61, 3)],
            "words": ["The outer 6 mm hold a third less water than the core.", "The unsealed plug of 3 March lets air in."],
        },
        "expect": [
            {"what": "cracks", "words": "cracks in the rind", "probability": {"value": 0.41, "low": 0.22, "high": 0.63}, "ground": "12.8 days too dry after a damp month"},
            {"what": "blue_at_plug", "words": "blue at the plug " + HOSTILE, "probability": None, "ground": "a plug left open; too few entries to say how often"},
        ],
        "holes": 1,
        "statement": [
            "This wheel has spent 12.8 days too dry, most of them in one spell in September.",
            "It has dried 1.2 times as far as intended; expect a hard, perhaps cracked rind under the cloth.",
            "The plug of 3 March was not sealed: check it for blue.",
        ],
        "look_at": [{"where": "the top edge under the cloth", "why": "the dry spell bites there first"}, {"where": "the plug of 3 March, left side", "why": "it was not sealed"}],
        "keep_the_iron_from": [{"where": "within 5 cm of the plug of 3 March", "why": "a second hole there would meet the first"}],
        "ledger": [
            {"id": 1, "at": rfc3339(made), "kind": "make", "author": "Imelda", "summary": "Made, 25.2 kg.", "details": {}, "corrects": None},
            {"id": 2, "at": rfc3339(made + timedelta(days=30)), "kind": "move", "author": "Tadhg", "summary": "Moved to North vault, lower shelves.", "details": {}, "corrects": None},
            {"id": 3, "at": rfc3339(made + timedelta(days=90)), "kind": "weighing", "author": "Tadhg", "summary": "Weighed 24.31 kg.", "details": {"mass_kg": 24.31}, "corrects": None},
            {"id": 5, "at": rfc3339(made + timedelta(days=200)), "kind": "ironing", "author": HOSTILE, "summary": "Ironed at the left side; plug not sealed. " + HOSTILE, "details": {}, "corrects": None},
            {"id": 6, "at": rfc3339(made + timedelta(days=290)), "kind": "weighing", "author": "Imelda", "summary": "Weighed 22.90 kg.", "details": {"mass_kg": 22.9}, "corrects": None},
        ],
        "cautions": ["The rind model informs; it does not judge safety. Local food-safety rules and licensed practice decide."],
    }  # fmt: skip


def next_to_grade(state: str = "normal", at: datetime | None = None) -> Document:
    """The next-to-grade document of a state."""
    at = at or now()
    rows = [] if state == "empty" else [
        {"wheel": "K-114", "style": "cloth-bound", "room": "north", "place": "low", "score": 5.0, "act": "look at the rind",
         "reasons": [{"key": "fault", "words": "blue under the cloth 3 of 4 on 13 November 2026"}, {"key": "window", "words": "old enough to grade for 31 days, not graded yet"}]},
        {"wheel": "A wheel " + HOSTILE, "style": "cloth-bound", "room": "north", "place": "low", "score": 3.0, "act": "iron",
         "reasons": [{"key": "promised", "words": "promised for 2026-12-01 " + HOSTILE}]},
        {"wheel": "N-032", "style": "natural", "room": "lower", "place": "low", "score": 0.5, "act": "weigh",
         "reasons": [{"key": "not weighed", "words": "not weighed for 71 days"}]},
    ]  # fmt: skip
    return {"version": 1, "at": rfc3339(at), "wheels": rows}


def health(state: str = "normal", at: datetime | None = None) -> Document:
    """The health document of a state."""
    at = at or now()
    well = state != "broken"
    names = {
        "broker": "connected",
        "store": "writing",
        "disk": "8,120 MB left",
        "clock": "steady",
        "channel": "sending",
    }
    parts = {
        name: {"ok": True, "since_at": rfc3339(at - timedelta(days=9)), "detail": detail}
        for name, detail in names.items()
    }
    if not well:
        parts["store"] = {
            "ok": False,
            "since_at": rfc3339(at - timedelta(hours=2)),
            "detail": "disk I/O error " + HOSTILE,
        }
    return {
        "version": 1, "at": rfc3339(at), "well": well and state != "empty", "running": well, "last_beat_at": rfc3339(at - timedelta(hours=0 if well else 2)),
        "parts": {} if state == "empty" else parts, "disk": {"free_bytes": 8_120_000_000, "total_bytes": 30_000_000_000, "enough": True},
        "intake": {"connected": well, "messages_per_s": 3.4, "readings": 1_204_551, "rejects": 14},
        "sensors": [] if state == "empty" else [
            {"id": "north-low", "room": "north", "age_s": 70.0, "silent": False, "reason": "", "troubles": [], "creep_pct": 0.4, "calibration_due_at": rfc3339(at + timedelta(days=120))},
            {"id": "lower-high", "room": "lower", "age_s": 5400.0, "silent": True, "reason": "", "creep_pct": 3.1, "calibration_due_at": rfc3339(at - timedelta(days=12)),
             "troubles": [{"what": "Sensor lower-high is silent", "check_first": "Its battery.", "since_at": rfc3339(at - timedelta(minutes=90))}]},
        ],
    }  # fmt: skip


def planned_work(state: str = "normal", at: datetime | None = None) -> Document:
    """The planned-work document of a state."""
    at = at or now()
    work = {
        "id": 3,
        "room": "brine",
        "room_name": "Wash room",
        "kind": "washing",
        "from_at": rfc3339(at - timedelta(minutes=20)),
        "until_at": rfc3339(at + timedelta(minutes=100)),
        "under_way": True,
        "person": "Tadhg",
        "note": HOSTILE,
    }
    return {
        "version": 1,
        "at": rfc3339(at),
        "kinds": ["washing", "loading", "defrost", "calibration"],
        "work": [work] if state == "alarmed" else [],
    }


def statistics(state: str = "normal", at: datetime | None = None) -> Document:
    """The alarm-statistics document of a state."""
    at = at or now()
    return {
        "version": 1, "at": rfc3339(at), "days": 30.0, "raised": 14, "raised_per_day": 0.467, "most_in_ten_minutes": 2, "floods": 0, "share_of_time_in_flood_pct": 0.0,
        "chattering": 0, "stale": 0, "share_of_top_ten_pct": 71.4, "minutes_to_acknowledge": {"median": 22.0, "nine_in_ten": 141.0, "count": 11},
        "never_acknowledged": 1, "references": [{"name": "raised_per_day", "at_most": 150, "source": "ISA-18.2-2016, as quoted: about 150 a day"}],
    } if state != "empty" else {"version": 1, "at": rfc3339(at), "days": 30.0, "raised": 0, "raised_per_day": None, "references": []}  # fmt: skip
