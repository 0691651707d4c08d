"""Guiding a calibration: the fixed points a person needs, what comes of the readings, and what is refused."""

from __future__ import annotations

import csv
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.errors import ReadingError, SiteFileError
from monitor.intake.calibration_guide import calibration_change, calibrations_due, fixed_points
from monitor.intake.quality import SCHEME
from monitor.records import Reading
from monitor.site import load
from monitor.site.editing import proposed, write
from monitor.store import open_store
from tests.system.running import write_site

Captured = pytest.CaptureFixture[str]
MARCH = datetime(2026, 3, 1, 9, tzinfo=UTC)


@pytest.fixture
def site_path(tmp_path: Path) -> Path:
    path = write_site(tmp_path, 1883, ["rack-1", "rack-2"])
    path.write_text("# A comment of the owner's.\n" + path.read_text())
    return path


def test_what_each_salt_holds_at_ten_degrees() -> None:
    """KCl 86.8 % and NaCl 75.7 % at 10 degC (Greenspan 1977)."""
    held = {point["salt"]: point["rh_pct"] for point in fixed_points(10.0)}
    assert held["KCl"] == pytest.approx(86.77, abs=0.02)
    assert held["NaCl"] == pytest.approx(75.67, abs=0.02)


def test_the_guide_says_what_it_should_read(site_path: Path, capsys: Captured) -> None:
    """Which salt, how long, what it should read here, and the usual caution about salts and cheese."""
    assert main(["calibrate", str(site_path), "rack-1", "--temperature", "10"]) == 0
    text = capsys.readouterr().out
    assert "KCl (potassium chloride)" in text
    assert "24 hours" in text
    assert "At 10 degC it should read 86.78 %" in text
    assert "away from cheese" in text
    assert "never calibrated here" in text


def test_readings_over_two_salts_become_an_entry(site_path: Path, capsys: Captured) -> None:
    """Shown as a diff, written with a backup, comments kept; the sensor then has a two-point calibration."""
    before = site_path.read_text()
    more = [
        "--temperature",
        "10",
        "--salt",
        "KCl=88.5",
        "--salt",
        "NaCl=77.0",
        "--at",
        "2026-03-01T09:00:00Z",
        "--yes",
    ]
    assert main(["calibrate", str(site_path), "rack-2", *more]) == 0
    shown = capsys.readouterr().out
    assert "+[[sensor.calibration]]" in shown
    (entry,) = load(site_path).sensor_by_id["rack-2"].calibrations
    assert entry.points == ((88.5, 86.776), (77.0, 75.678))
    assert entry.how == "over KCl and NaCl at 10 degC"
    assert load(site_path).sensor_by_id["rack-1"].calibrations == ()
    assert site_path.read_text().startswith("# A comment of the owner's.\n")
    (backup,) = site_path.parent.glob("site.toml.*.bak")
    assert backup.read_text() == before


def test_the_ice_point_calibrates_a_temperature(site_path: Path) -> None:
    """0.3 degC in melting ice: from then on 0.3 K less."""
    assert main(["calibrate", str(site_path), "rack-1", "--ice", "0.3", "--yes"]) == 0
    (entry,) = load(site_path).sensor_by_id["rack-1"].calibrations
    assert (entry.quantity, entry.points) == ("temperature", ((0.3, 0.0),))


def test_drift_and_due_dates_are_shown(site_path: Path, capsys: Captured) -> None:
    """Two calibrations a year apart: how far it had moved, and that the next is overdue."""
    for at, read in (("2024-03-01T09:00:00Z", "88.0"), ("2025-03-01T09:00:00Z", "89.5")):
        given = ["--temperature", "10", "--salt", f"KCl={read}", "--at", at, "--yes"]
        assert main(["calibrate", str(site_path), "rack-1", *given]) == 0
    capsys.readouterr()
    assert main(["calibrate", str(site_path), "rack-1", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["drifts"] == [{"at": "2025-03-01T09:00:00Z", "after_days": 365.0, "change": 1.5}]
    assert told["due_at"] == "2026-03-01T09:00:00Z"
    site = load(site_path)
    (due,) = calibrations_due(site, MARCH + timedelta(days=1))
    assert (due["sensor"], due["quantity"]) == ("rack-1", "humidity")
    assert calibrations_due(site, MARCH - timedelta(days=30)) == []


@pytest.mark.parametrize(
    ("more", "status", "said"),
    [
        (["--salt", "KCl=40", "--yes"], 1, "broken or wet"),
        (["--salt", "sugar=80", "--yes"], 1, "choose from MgCl2, NaCl, KCl"),
        (["--salt", "KCl=damp"], 2, "'damp' is not a number"),
        (["--salt", "KCl"], 2, "write SALT=READING"),
        (["--temperature", "80"], 1, "temperature_c of KCl"),
        (["--quantity", "battery"], 1, "choose from temperature, humidity"),
        (["--ice", "0.2", "--at", "yesterday"], 2, "--at"),
        (["--salt", "KCl=88", "--salt", "NaCl=88", "--yes"], 2, "two points need distinct readings"),
    ],
)
def test_what_cannot_be_is_refused(
    site_path: Path, capsys: Captured, more: list[str], status: int, said: str
) -> None:
    """Each refusal says why, and the site file stays as it was."""
    before = site_path.read_text()
    assert main(["calibrate", str(site_path), "rack-1", *more]) == status
    assert said in capsys.readouterr().err
    assert site_path.read_text() == before


def test_a_file_changed_meanwhile_is_not_overwritten(site_path: Path) -> None:
    """Somebody else saved the site file after the change was shown: nothing is written."""
    change = calibration_change(site_path, "rack-1", "humidity", [(88.0, 86.8)], MARCH, "")
    site_path.write_text(site_path.read_text() + "# theirs\n")
    with pytest.raises(SiteFileError, match="somebody else"):
        write(change)
    assert site_path.read_text().endswith("# theirs\n")


def test_a_change_that_would_break_the_file_is_refused(site_path: Path) -> None:
    """The new text is checked as a whole before it is shown."""
    with pytest.raises(SiteFileError, match="the change is refused"):
        proposed(site_path, lambda document: document["site"].__setitem__("time_zone", "Mars/Olympus"))
    with pytest.raises(ReadingError, match="3 points"):
        calibration_change(site_path, "rack-1", "humidity", [(1.0, 1.0)] * 3, MARCH, "")


def test_what_readings_are_taken_for_is_shown(site_path: Path, capsys: Captured) -> None:
    """Raw beside calibrated, with flag, reason and scheme; only the doubtful where asked."""
    store = open_store(load(site_path))
    start = 1_772_366_400_000
    store.write(
        [Reading("rack-1", "humidity", start + n * 60_000, 60.0 if n == 5 else 88.0) for n in range(11)]
    )
    store.close()
    given = ["--salt", "KCl=88.0", "--temperature", "10", "--at", "2026-01-01T00:00:00Z", "--yes"]
    assert main(["calibrate", str(site_path), "rack-1", *given]) == 0
    capsys.readouterr()
    assert main(["judged", str(site_path), "rack-1", "--doubtful"]) == 0
    header, only = capsys.readouterr().out.strip().splitlines()
    assert header == "time,sensor,quantity,raw,value,flag,reason,scheme"
    assert only.startswith("2026-03-01T12:05:00Z,rack-1,humidity,60.0,58.77")
    assert only.endswith(f',3,"humidity spike: away from both neighbours, which agree",{SCHEME}')


def judged_lines(site_path: Path, capsys: Captured, sensor: str) -> list[list[str]]:
    capsys.readouterr()
    assert main(["judged", str(site_path), sensor, "--doubtful"]) == 0
    return list(csv.reader(capsys.readouterr().out.splitlines()))[1:]


def test_what_is_off_the_others_is_shown(tmp_path: Path, capsys: Captured) -> None:
    """Of three sensors at a rack one stands 12 % above the others for half an hour: its readings are suspect, theirs
    are not, just as the air records take them."""
    path = write_site(tmp_path, 1883, ["rack-1", "rack-2", "rack-3"])
    start = 1_772_366_400_000
    store = open_store(load(path))
    for number, above in enumerate((0.0, 0.4, 12.0), start=1):
        values = [86.0 + minute % 3 / 10 + (above if minute >= 30 else 0.0) for minute in range(60)]
        store.write(
            [Reading(f"rack-{number}", "humidity", start + m * 60_000, v) for m, v in enumerate(values)]
        )
    store.close()
    off = judged_lines(path, capsys, "rack-3")
    assert [line[0] for line in off] == [f"2026-03-01T12:{minute}:00Z" for minute in range(30, 60)]
    assert {tuple(line[5:7]) for line in off} == {("3", "humidity off the others at its place")}
    assert judged_lines(path, capsys, "rack-1") == []


def test_a_gap_is_shown_as_missing(site_path: Path, capsys: Captured) -> None:
    """Two and a half hours without a reading are one line with flag 9, from the first reading that did not come."""
    start, store = 1_772_366_400_000, open_store(load(site_path))
    times = [start + minute * 60_000 for minute in (0, 1, 2, 152, 153)]
    store.write([Reading("rack-1", "humidity", time, 86.0 + n / 10) for n, time in enumerate(times)])
    store.close()
    assert judged_lines(site_path, capsys, "rack-1") == [
        ["2026-03-01T12:03:00Z", "rack-1", "humidity", "", "", "9", "nothing for 2.5 h", SCHEME]
    ]
