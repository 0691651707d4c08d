"""The demo's site: valid, small, with wheels due today, and a ledger and readings that the monitor takes in."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import demo_data
from monitor.clock import now, to_ms
from monitor.site import load as load_site
from monitor.wheels import open_ledger
from sensors_sim.scenario_file import read_scenario

MOST_BYTES = 5_000_000


@pytest.fixture(scope="module")
def year() -> demo_data.DemoYear:
    return demo_data.load()


def test_it_is_small() -> None:
    """At most 5 MB in all."""
    assert sum(f.stat().st_size for f in demo_data.FOLDER.rglob("*") if f.is_file()) < MOST_BYTES


def test_site_file_scenarios_and_readings_speak_of_the_same_places(year: demo_data.DemoYear) -> None:
    """Sensors, rooms and places agree between the site file, the year and the live run."""
    site = load_site(demo_data.SITE_FILE)
    history, live = read_scenario(demo_data.YEAR_SCENARIO), read_scenario(demo_data.LIVE_SCENARIO)
    assert {s.id: (s.room, s.place) for s in site.sensors} == {
        s.id: (s.room, s.place) for s in history.sensors
    }
    assert [s.full_topic for s in site.sensors] == [s.full_topic for s in live.sensors]
    assert set(year.readings) == {s.id for s in site.sensors}
    assert {s.id for s in site.styles} == {s.id for s in history.styles}
    for one, other in zip(history.rooms, live.rooms, strict=True):
        assert one.model_copy(update={"initial_rh_pct": 0}) == other.model_copy(update={"initial_rh_pct": 0})
    assert "invented" in site.site.name


def test_the_readings_end_now_and_begin_a_year_ago(year: demo_data.DemoYear) -> None:
    """Ten-minute values up to the present moment, nothing from the future."""
    for sensor, values in year.readings.items():
        assert 0 <= to_ms(now()) - values.time_ms[-1] < 1_800_000, sensor
        assert len(values.time_ms) > 50_000
        assert 0 < values.temperature_c.min() < values.temperature_c.max() < 30
        assert (values.rh_pct <= 100).all()


@pytest.mark.parametrize(
    "moment", [datetime(2026, 2, 28, 9, 15, tzinfo=UTC), datetime(2027, 10, 31, 0, 2, tzinfo=UTC)]
)
def test_some_wheels_are_due_whatever_the_day(moment: datetime) -> None:
    """On any day some wheels of a style are past their grading day and neither graded nor gone."""
    site, year = load_site(demo_data.SITE_FILE), demo_data.load(moment)
    done = {row["wheel"] for row in year.ledger if row["kind"] in ("grading", "sale", "loss")}
    due: Counter[str] = Counter()
    for row in year.ledger:
        style = site.style_by_id.get(row.get("style", ""))
        if row["kind"] == "make" and style and row["wheel"] not in done:
            age = moment - datetime.fromisoformat(row["at"])
            due[style.id] += age >= timedelta(days=style.grading_from_day or 0)
    assert sum(due.values()) >= 3, due
    assert all(datetime.fromisoformat(row["at"]) <= moment for row in year.ledger)


def test_the_ledger_is_taken_in_whole(year: demo_data.DemoYear, tmp_path: Path) -> None:
    """Every row passes the ledger's own checks: about 120 wheels, some graded, some sold."""
    path = tmp_path / "site.toml"
    path.write_text(demo_data.SITE_FILE.read_text("utf-8"), "utf-8")
    ledger = open_ledger(load_site(path))
    try:
        ledger.load(year.ledger, sure=False)
        assert 100 <= len(ledger.wheels(gone=True)) <= 150
        here = ledger.wheels()
        assert 40 <= len(here) < 120
    finally:
        ledger.close()
    kinds = Counter(row["kind"] for row in year.ledger)
    assert (
        min(kinds[k] for k in ("make", "move", "weighing", "inspection", "ironing", "grading", "sale")) > 30
    )


def test_the_years_events_can_be_found(year: demo_data.DemoYear) -> None:
    """The dry fortnight in the cave, the wet still week there, and the sensor that drifts."""

    def mean(sensor: str, first_day: float, last_day: float) -> float:
        values = year.readings[sensor]
        day = (values.time_ms - values.time_ms[0]) / 86_400_000
        return float(values.rh_pct[(day >= first_day) & (day < last_day)].mean())

    assert mean("cave-mouth", 98, 110) < mean("cave-mouth", 120, 135) - 4
    assert mean("cave-mid-rack", 255, 260) > mean("cave-mid-rack", 235, 250) + 4
    drifted = mean("cellar-high-shelf", 345, 352) - mean("cellar-middle", 345, 352)
    assert drifted < mean("cellar-high-shelf", 270, 285) - mean("cellar-middle", 270, 285) - 5


def test_a_moment_without_time_zone_is_refused() -> None:
    """As everywhere in the project."""
    with pytest.raises(ValueError, match="time zone"):
        demo_data.load(datetime(2026, 1, 1))
