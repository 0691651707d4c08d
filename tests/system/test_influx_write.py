"""Our line protocol taken by a real server that speaks InfluxDB's write API (Debian's victoria-metrics), and read back
by that server's own export.

That server answers no Flux; what a real InfluxDB answers is tried where the environment names one (see
``monitor/docs/readings.md``).
"""

from __future__ import annotations

import json
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.clock import now_ms
from monitor.records import AirRecord, Reading
from monitor.store.influx import InfluxStore
from monitor.store.influx_far import InfluxFar
from monitor.store.spool import NearStore
from tests.system.parts import victoria_metrics, wait_for

pytestmark = pytest.mark.system


@pytest.fixture
def server(tmp_path: Path) -> Iterator[str]:
    with victoria_metrics(tmp_path) as url:
        yield url


def exported(server: str, name: str) -> dict[tuple[str, ...], dict[int, float]]:
    """Every series of a name: its tags, then values by time [ms]."""
    urllib.request.urlopen(f"{server}/internal/force_flush").close()
    query = urllib.parse.urlencode({"match[]": name})
    with urllib.request.urlopen(f"{server}/api/v1/export?{query}") as reply:
        lines = [json.loads(line) for line in reply.read().splitlines()]
    return {
        tuple(sorted(v for k, v in line["metric"].items() if k != "__name__")): dict(
            zip(line["timestamps"], line["values"], strict=True)
        )
        for line in lines
    }


def test_readings_and_air_records_arrive_as_they_left(tmp_path: Path, server: str) -> None:
    """Two thousand readings and an air record: the same times and values come out of the server's export.

    Values to the twelve digits that this server keeps.
    """
    start = now_ms() - 3_600_000
    store = InfluxStore(
        NearStore(tmp_path / "near.sqlite"), InfluxFar(server, "dairy", "rooms", "none", "main")
    )
    store.near.settle(older_far=False)  # this server answers no questions
    readings = [Reading("rack-1", "humidity", start + n * 1000, 80 + n % 97 / 7) for n in range(2000)]
    store.write(readings)
    slot = start - start % 600_000
    store.write_air(
        [AirRecord("cave", "", slot, 11.8, 11.5, 12.1, 86.2, 85.0, 87.0, 0.9, 9.6, 190.5, 0.3, None)]
    )
    while store.carry():
        pass
    wait_for(lambda: sum(map(len, exported(server, "reading_value").values())) == 2000, what="the readings")
    assert exported(server, "reading_value") == {
        ("humidity", "main", "rack-1"): {r.time_ms: pytest.approx(r.value, rel=1e-11) for r in readings}
    }
    wait_for(lambda: exported(server, "air_rh_pct"), what="the air record")
    assert exported(server, "air_rh_pct") == {("-", "cave", "main"): {slot: 86.2}}
    assert exported(server, "air_rh_sigma_pct") == {}
    store.close()
