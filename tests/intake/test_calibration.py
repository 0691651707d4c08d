"""Calibrations are dated, touch derived values only, and rebuild what a back-dated one changes."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest
from pydantic import ValidationError

from monitor.climate.air_records import AirKeeper
from monitor.intake.calibration import calibrated, drifts, judging, mark_touched
from monitor.records import Reading
from monitor.site import CalibrationEntry
from monitor.store.embedded import EmbeddedStore
from tests.intake.samples import sensor, site_with

MARCH, JUNE = datetime(2026, 3, 1, tzinfo=UTC), datetime(2026, 6, 1, tzinfo=UTC)
# A sensor that read 77.0 over NaCl and 88.5 over KCl at 10 degC, where Greenspan (1977) gives 75.68 and 86.78 %RH.
TWO_SALTS = CalibrationEntry(quantity="humidity", at=MARCH, points=((77.0, 75.68), (88.5, 86.78)))
LATER_KCL = CalibrationEntry(quantity="humidity", at=JUNE, points=((89.5, 86.78),))


def frame(*at: datetime, value: float = 88.5) -> pd.DataFrame:
    return pd.DataFrame({"value": [value] * len(at), "flag": [2] * len(at)}, index=pd.DatetimeIndex(at))


def test_each_reading_gets_the_calibration_of_its_time() -> None:
    """Before the first as it came, then the line in force, from its own date on."""
    rack = sensor(calibration=(LATER_KCL, TWO_SALTS))
    raw = frame(datetime(2026, 2, 28, tzinfo=UTC), MARCH, JUNE)
    assert list(calibrated(rack, "humidity", raw)["value"]) == pytest.approx([88.5, 86.78, 88.5 - 2.72])
    assert list(raw["value"]) == [88.5] * 3
    assert calibrated(rack, "temperature", raw) is raw


def test_two_points_stretch_and_shift() -> None:
    """Both salts come out true, and half way lies half way."""
    rack = sensor(calibration=(TWO_SALTS,))
    assert calibrated(rack, "humidity", frame(JUNE, value=77.0))["value"].iloc[0] == pytest.approx(75.68)
    assert calibrated(rack, "humidity", frame(JUNE, value=82.75))["value"].iloc[0] == pytest.approx(81.23)


def test_drift_between_calibrations_is_told() -> None:
    """In 92 days the sensor crept up by 0.97 % over KCl on its old line."""
    (drift,) = drifts(sensor(calibration=(TWO_SALTS, LATER_KCL)), "humidity")
    gain = (86.78 - 75.68) / (88.5 - 77.0)
    assert drift.days == 92
    assert drift.change == pytest.approx(gain * 1.0)


@pytest.mark.parametrize("points", [((80.0, 75.0), (80.0, 86.0)), ((75.0, 86.0), (86.0, 75.0)), ()])
def test_points_that_make_no_line_are_refused(points: tuple[tuple[float, float], ...]) -> None:
    """Equal readings, a falling line or no points at all are faults of the site file."""
    with pytest.raises(ValidationError):
        CalibrationEntry(quantity="humidity", at=MARCH, points=points)


def test_a_back_dated_calibration_marks_what_it_touches(tmp_path: Path) -> None:
    """Only slots from the calibration's date on are made again, and only once."""
    store = EmbeddedStore(tmp_path / "readings.sqlite")
    days = [datetime(2026, month, 1, tzinfo=UTC) for month in (2, 4, 6)]
    store.write([Reading("rack-1", "humidity", round(day.timestamp() * 1000), 88.0) for day in days])
    store.write_air([], store.changes())
    site = site_with(sensor(calibration=(TWO_SALTS,)))
    assert mark_touched(site, store) == ["rack-1"]
    assert len(store.changes()) == 2
    store.write_air([], store.changes())
    assert mark_touched(site, store) == []
    assert mark_touched(site_with(sensor()), store) == ["rack-1"]
    assert len(store.changes()) == 2
    store.close()


def test_a_back_dated_calibration_corrects_the_air_and_leaves_the_raw(tmp_path: Path) -> None:
    """88.0 % read in April and June: with a calibration of March entered afterwards the air says what was true, in
    February it stays, and what the sensor said is as it was."""
    store = EmbeddedStore(tmp_path / "readings.sqlite")
    days = [datetime(2026, month, 1, tzinfo=UTC) for month in (2, 4, 6)]
    store.write([Reading("rack-1", "humidity", round(day.timestamp() * 1000), 88.0) for day in days])
    rh = []
    for site in (site_with(sensor()), site_with(sensor(calibration=(TWO_SALTS,)))):
        mark_touched(site, store)
        AirKeeper(site, store, judging(site)).update()
        rh.append(store.read_air("cave", "", 0, 2**52)["rh_pct"].tolist())
    true = 75.68 + (88.0 - 77.0) * (86.78 - 75.68) / (88.5 - 77.0)
    assert rh == [pytest.approx([88.0] * 3), pytest.approx([88.0, true, true])]
    assert store.read("rack-1", "humidity", 0, 2**52)["value"].tolist() == [88.0] * 3
    store.close()


def test_a_new_range_for_a_room_has_its_records_made_again(tmp_path: Path) -> None:
    """A climatology stated for the room changes what is suspect, back to the first reading; once."""
    store = EmbeddedStore(tmp_path / "readings.sqlite")
    store.write([Reading("rack-1", "humidity", 1_772_366_400_000, 52.0)])
    site = site_with(sensor())
    assert mark_touched(site, store) == []
    store.write_air([], store.changes())
    room = site.rooms[0].model_copy(update={"climatology": {"humidity": (60.0, 100.0)}})
    ranged = site_with(sensor()).model_copy(update={"rooms": (room,)})
    assert mark_touched(ranged, store) == ["rack-1"]
    (record, *_) = AirKeeper(ranged, store, judging(ranged)).update()
    assert record.rh_pct is None
    assert mark_touched(ranged, store) == []
