"""The air field, the paces and the charts over time, as drawn."""

from __future__ import annotations

import base64
import re
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from dashboard.airfield import field, window_of
from dashboard.course import Chart, draw, nice_steps, time_steps
from dashboard.forms import missing
from dashboard.panels import pace_words, room_panel
from dashboard.parts import not_watched
from dashboard.screens.rooms_now import counted, known_now
from monitor.clock import now
from tests.dashboard import samples

START = datetime(2026, 3, 1, tzinfo=UTC)
LONDON = ZoneInfo("Europe/London")


def svg_in(html: str) -> str:
    found = re.search(r"base64,([^\"]+)", html)
    assert found is not None
    return base64.b64decode(found[1]).decode()


def test_the_field_holds_band_trail_and_present() -> None:
    """Whatever the air does, the band and the present both lie inside the picture."""
    room = samples.rooms("alarmed")["rooms"][0]
    window = window_of(room)
    assert window is not None
    assert 0 < window.x(10.0) < window.x(12.0) < 100
    assert 0 < window.y(88.0) < window.y(82.0) < window.y(room["rh_pct"]) < 100


def test_a_gap_in_the_trail_stays_a_gap() -> None:
    """An hour without readings is not bridged by a line: the run ends and another starts."""
    room = samples.rooms("normal")["rooms"][0]
    whole = room
    joined = [{**p, "at": room["trail"][0]["at"]} for p in room["trail"]]
    ends = re.findall(r'points="([^"]+)"', svg_in(field(whole, "degC", "as-intended")))
    broken = sum(a.split()[-1] != b.split()[0] for a, b in pairwise(ends))
    bridged = re.findall(r'points="([^"]+)"', svg_in(field({**room, "trail": joined}, "degC", "as-intended")))
    unbroken = sum(a.split()[-1] != b.split()[0] for a, b in pairwise(bridged))
    assert (broken, unbroken) == (1, 0)


def test_a_room_without_readings_has_no_numbers() -> None:
    """On day one a room shows dashes and says that it was never read."""
    room = samples.rooms("empty")["rooms"][0]
    panel = room_panel(room, "degC", LONDON, START, 0.0)
    assert "never read" in panel
    assert ">–<" in panel


@pytest.mark.parametrize("state", samples.STATES)
def test_hostile_names_stay_text(state: str) -> None:
    """A room called like a script is a name and nothing else."""
    for room in samples.rooms(state)["rooms"]:
        assert "<script" not in room_panel(room, "degC", LONDON, START, 0.0)


def test_paces_are_said_in_words() -> None:
    """A pace whose doubt holds 1.0 is 'about as intended'; an unknown one is no number."""
    assert (
        pace_words("drying", {"value": 2.3, "low": 2.0, "high": 2.6})
        == "drying: 2.3 times intended (2.0 to 2.6)"
    )
    assert pace_words("mould", {"value": 1.1, "low": 0.8, "high": 1.4}).startswith("mould: about as intended")
    assert pace_words("mould", None) == "mould: not enough readings yet"


def test_the_worst_room_is_counted_first() -> None:
    """The headline names what needs a person before what does not."""
    assert counted(samples.rooms("alarmed")["rooms"]) == (
        "1 room needs you now, 1 room needs you, 1 room is as intended"
    )


def test_a_chart_keeps_its_gaps() -> None:
    """A day without readings splits the line in two."""
    points = [(START + timedelta(hours=h), 11.0 + h % 3) for h in range(96) if not 40 <= h < 64]
    svg = svg_in(draw(Chart("Temperature", points, gap_s=7200), START, START + timedelta(days=4), LONDON))
    assert svg.count("<polyline") == 2


def test_a_band_that_changes_with_age_is_two_windows() -> None:
    """At day 30 a wheel wants other air; the chart shows two clear windows."""
    bands = [(START + timedelta(days=d), *((90.0, 94.0) if d < 30 else (82.0, 88.0))) for d in range(60)]
    svg = svg_in(draw(Chart("Humidity", [(START, 85.0)], bands), START, START + timedelta(days=60), LONDON))
    assert svg.count('fill="#fff"') == 2


def test_ticks_are_round_and_few() -> None:
    """Figures beside a chart are round; times under it are at most six, at midnights of the site's own zone."""
    assert nice_steps(9.3, 12.6, 5) == [10.0, 11.0, 12.0]
    ticks = time_steps(START, START + timedelta(days=330), LONDON)
    assert 2 <= len(ticks) <= 6
    assert all(at.astimezone(LONDON).hour == 0 for at, _ in ticks)


def test_a_form_says_what_is_missing() -> None:
    """A grading needs a decision, a weighing a mass, an inspection at least one thing seen."""
    assert "decided" in missing("grading", {"decision": None})
    assert "kilograms" in missing("weighing", {"mass_kg": None, "note": ""})
    assert missing("inspection", {"where": "", "note": ""}) != ""
    assert "cracks" in missing("inspection", {"cracks": None, "note": ""})
    assert missing("inspection", {"cracks": 2, "note": ""}) == ""


@pytest.mark.parametrize("mass_kg", [-3.0, 2000.0, 100_000.0])
def test_a_mass_that_no_wheel_has_is_refused(mass_kg: float) -> None:
    """A slip of the finger is told in words, not saved and not made into another figure."""
    assert "more than 0" in missing("weighing", {"mass_kg": mass_kg, "note": ""})
    assert missing("weighing", {"mass_kg": 22.5, "note": ""}) == ""


@pytest.mark.parametrize("again", [date(1990, 1, 1), date(2026, 3, 1), date(2206, 12, 24)])
def test_a_day_to_look_again_is_to_come(again: date) -> None:
    """A day that is past, or a year mistyped, is told in words."""
    said = {"decision": "hold back", "reason": "", "look_again_on": again}
    assert "day to come" in missing("grading", said, date(2026, 3, 2))
    assert missing("grading", said | {"look_again_on": date(2026, 12, 24)}, date(2026, 3, 2)) == ""


def test_an_old_document_tells_no_room_as_intended() -> None:
    """When the rooms were last told twenty-one seconds ago, what was as intended then is not known now."""
    rooms = samples.rooms("normal")["rooms"]
    assert counted(known_now(rooms, 5.0)) == "3 rooms are as intended"
    assert counted(known_now(rooms, 21.0)) == "3 rooms have no fresh reading"


def test_a_monitor_that_stopped_is_no_calm() -> None:
    """Where the monitor does not run, that stands where "no alarm" would: nothing is watched."""
    at = now()
    stopped, running = (samples.rooms(state, at)["monitor"] for state in ("broken", "normal"))
    assert "Nothing is watched" in not_watched(stopped, LONDON, at)
    assert not_watched(running, LONDON, at) == ""
    assert not_watched(None, LONDON, at) == ""


def test_a_room_without_a_fresh_reading_says_what_stood_and_no_pace() -> None:
    """Since the last reading nothing is known: a finding of that time is told as of that time, and a pace not at all."""
    at = now()
    north = next(r for r in samples.rooms("broken", at)["rooms"] if r["id"] == "north")
    panel = room_panel(north, "degC", ZoneInfo("Europe/Dublin"), at, 0.0)
    assert "What stood when it was last read:" in panel
    assert "Drying too fast" in panel
    assert "Check first:" not in panel
    assert "times intended" not in panel
