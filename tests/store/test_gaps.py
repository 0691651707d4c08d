"""Gaps in what is kept are told, and are no faults of the store."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from monitor.cli import main
from monitor.records import Reading
from monitor.site import load
from monitor.store import open_store
from monitor.store.gaps import gaps, gaps_of
from tests.system.running import write_site

START = 1_772_366_400_000
MINUTE_MS = 60_000
DAY = 1440


def test_gaps_are_spans_longer_than_three_intervals() -> None:
    """At a minute each, a gap of five minutes is one."""
    times = np.array([0, 1, 2, 7, 8]) * MINUTE_MS
    assert gaps(times, 60.0) == [(2 * MINUTE_MS, 7 * MINUTE_MS)]


def test_a_night_without_readings_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`verify` finds the store sound and names the eight hours of the one bad night, also across months."""
    site_path = write_site(tmp_path, 1883, ["rack-1"])
    store = open_store(load(site_path))
    minutes = [*range(0, 600, 2), *range(1080, 1200, 2), 100 * DAY]
    store.write([Reading("rack-1", "humidity", START + m * MINUTE_MS, 86.0) for m in minutes])
    found = gaps_of(store, load(site_path))
    store.close()
    assert [round(gap.hours, 1) for gap in found] == [2380.0, 8.0]
    assert main(["verify", str(site_path)]) == 0
    text = capsys.readouterr().out
    assert "2 gaps, 2,388.1 hours in all" in text
    assert "8.0 h  rack-1 humidity  2026-03-01T21:58:00Z to 2026-03-02T06:00:00Z" in text
    assert main(["verify", str(site_path), "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["gaps"]) == 2
