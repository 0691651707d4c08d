"""Air records made a little at a time: every place has its turn, and nothing is forgotten."""

from __future__ import annotations

from pathlib import Path

from monitor.climate.air_records import AirKeeper
from monitor.clock import TEN_MINUTES_MS, parse_rfc3339, to_ms
from monitor.records import Reading
from monitor.site import check_text
from monitor.store import open_store
from tests.test_site import GOOD

START = to_ms(parse_rfc3339("2026-03-01T06:00:00Z"))
SENSOR = '[[sensor]]\nid = "nv-2"\nroom = "vault"\nplace = "high-rack"\n'


def test_without_time_each_call_serves_the_place_that_waited_longest(tmp_path: Path) -> None:
    """With no time at all a call makes one place's records; the other's come with the next, even while readings go on."""
    site, _ = check_text(GOOD + SENSOR, tmp_path / "site.toml")
    assert site is not None
    store = open_store(site)
    keeper = AirKeeper(site, store)
    served = []
    for second in range(4):
        at = START + second * 1000
        store.write([Reading(s, q, at, 50.0) for s in ("nv-1", "nv-2") for q in ("temperature", "humidity")])
        served.append({r.place for r in keeper.update(seconds=0.0)} - {""})
    assert sorted(map(sorted, served[:2])) == [["high-rack"], ["low-rack"]]
    assert served[2:] == served[:2]
    keeper.update()
    assert store.changes() == []
    assert {r.place for r in store.latest_air()} == {"", "low-rack", "high-rack"}
    assert all(r.start_ms == START - START % TEN_MINUTES_MS for r in store.latest_air())
    store.close()
