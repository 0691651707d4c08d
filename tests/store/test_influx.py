"""The store on InfluxDB: what waits, what is carried, what is refused, and what comes in elsewhere.

The contract of all stores runs over it in `test_store_contract`.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.clock import now_ms
from monitor.errors import StoreAway, StoreError
from monitor.records import AirRecord, Reading
from monitor.site import load
from monitor.store import open_store
from monitor.store.influx import InfluxStore
from monitor.store.influx_far import InfluxFar
from monitor.store.spool import NearStore
from monitor.store.upkeep import upkeep
from tests.store.influx_double import TOKEN, InfluxDouble
from tests.system.running import write_site

NOON = 1_772_366_400_000
DAY = 86_400_000
ALL = (0, 2**52)


@pytest.fixture
def double() -> Iterator[InfluxDouble]:
    served = InfluxDouble()
    yield served
    served.stop()


def opened(double: InfluxDouble, folder: Path, token: str = TOKEN) -> InfluxStore:
    return InfluxStore(
        NearStore(folder / "near.sqlite"), InfluxFar(double.url, "dairy", "rooms", token, "main")
    )


def humidity(minute: int, value: float | None = 86.0) -> Reading:
    return Reading("rack-1", "humidity", NOON + minute * 60_000, value)


def test_readings_wait_while_influxdb_is_away_and_then_go_in_order(
    double: InfluxDouble, tmp_path: Path
) -> None:
    """Writing never fails for InfluxDB's sake; what waited is carried oldest first, also by the next process."""
    store = opened(double, tmp_path)
    double.stop()
    for minute in range(5):
        store.write([humidity(minute)])
    with pytest.raises(StoreAway, match="does not answer"):
        store.carry()
    assert store.waiting() == 5
    store.close()
    double.start()
    again = opened(double, tmp_path)
    assert again.carry(2) == 2
    assert [time_ms for _, time_ms in double.points] == [NOON, NOON + 60_000]
    while again.carry():
        pass
    assert (again.waiting(), double.lines) == (0, 5)
    again.close()


def test_what_waits_is_never_let_go_of(double: InfluxDouble, tmp_path: Path) -> None:
    """Old readings leave the near store only once InfluxDB has them."""
    site = load(write_site(tmp_path, 1883, ["rack-1"]))
    store = opened(double, tmp_path)
    store.write([humidity(minute) for minute in range(10)])
    late = NOON + 400 * DAY
    assert upkeep(site.store, store, late) == 0
    store.carry()
    assert upkeep(site.store, store, late + DAY) == 9
    assert len(store.near.read("rack-1", "humidity", *ALL)) == 1
    assert len(store.read("rack-1", "humidity", *ALL)) == 10
    double.stop()
    with pytest.raises(StoreAway):
        store.read("rack-1", "humidity", *ALL)
    assert len(store.read("rack-1", "humidity", late + DAY, late + 2 * DAY)) == 0
    store.close()


def test_very_late_readings_do_not_wait_for_an_influxdb_that_hangs(
    double: InfluxDouble, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Readings older than what is near are compared with InfluxDB; where it does not answer it is asked once, not each time."""
    store, asked = opened(double, tmp_path), []

    def hangs(sensor: str, *_: object) -> None:
        asked.append(sensor)
        raise StoreAway("InfluxDB does not answer (ReadTimeoutError)")

    store.near.prune(NOON + DAY)
    monkeypatch.setattr(store.far, "readings", hangs)
    for minute in range(3):
        store.write([humidity(minute), Reading("rack-2", "humidity", NOON + minute, 86.0)])
    assert len(asked) == 1
    assert store.waiting() == 6
    store.close()


def test_a_line_that_influxdb_refuses_holds_up_no_other(double: InfluxDouble, tmp_path: Path) -> None:
    """Of a hundred readings one is refused for what it holds: the others are carried, and that one is told."""
    store = opened(double, tmp_path)
    store.write([humidity(minute, 50.0 + minute) for minute in range(100)])
    double.refuse = "value=93.0"
    assert store.carry() == 100
    assert double.lines == 99
    (refused,) = store.rejects()
    assert "field type conflict" in refused.reason
    assert b"value=93.0" in refused.payload
    assert len(store.read("rack-1", "humidity", *ALL)) == 100
    assert (store.waiting(), store.near.set_aside()) == (0, 1)
    store.near.prune(NOON + 400 * DAY)
    assert len(store.read("rack-1", "humidity", *ALL)) == 100
    double.refuse = ""
    store.near.try_again()
    assert store.carry() == 1
    assert (double.lines, store.near.set_aside()) == (100, 0)
    store.close()


def test_what_is_beyond_the_buckets_retention_is_told_once(double: InfluxDouble, tmp_path: Path) -> None:
    """InfluxDB drops what is too old for its bucket and takes the rest: one word about it, and nothing waits for ever."""
    store = opened(double, tmp_path)
    store.write([humidity(minute) for minute in range(100)])
    double.oldest_ms = NOON + 40 * 60_000
    assert store.carry() == 100
    assert (double.lines, store.waiting()) == (60, 0)
    (told,) = store.rejects()
    assert "retention policy dropped=40" in told.reason
    store.close()


def test_an_answer_that_breaks_off_is_a_store_that_is_away(double: InfluxDouble, tmp_path: Path) -> None:
    """InfluxDB can fail amid an answer that began well: never is half an answer taken for the whole."""
    store = opened(double, tmp_path)
    store.write([humidity(0)])
    store.carry()
    for amid, told in (
        ("#datatype,string,string\r\n#group,true,true\r\n#default,,\r\n,error,reference\r\n,reached memory limit,\r\n",
         "reached memory limit"),
        ("<html>\r\n", "is not InfluxDB"),
    ):  # fmt: skip
        double.amid = amid
        with pytest.raises(StoreAway, match=told):
            store.far.readings("rack-1", "humidity", *ALL)
    store.close()


def test_an_empty_span_is_not_asked_for(double: InfluxDouble, tmp_path: Path) -> None:
    """InfluxDB takes an empty span for an error; here it is simply empty."""
    store = opened(double, tmp_path)
    assert len(store.far.readings("rack-1", "humidity", NOON, NOON)) == 0
    assert len(store.far.air("cave", "", 2**51, 2**52)) == 0
    store.close()


def test_a_new_near_store_finds_what_influxdb_has(double: InfluxDouble, tmp_path: Path) -> None:
    """After the near store's disk died, or on another machine: what was carried over before is read from InfluxDB."""
    before = opened(double, tmp_path)
    before.write([humidity(minute) for minute in range(10)])
    numbers = (12.0, 11.5, 12.5, 86.0, 85.0, 87.0, 1.0, 9.7, 196.0)
    before.write_air(
        [AirRecord("vault", place, NOON + day * DAY, *numbers) for place in ("", "low") for day in (0, 2)]
    )
    before.carry()
    before.close()
    (tmp_path / "other").mkdir()
    after = opened(double, tmp_path / "other")
    assert len(after.read("rack-1", "humidity", *ALL)) == 10
    after.carry()
    today = NOON // DAY
    assert {(d.place, d.day - today) for d in after.air_days()} == {
        (p, d) for p in ("", "low") for d in range(3)
    }
    assert after.air_days(1) == []
    double.stop()
    with pytest.raises(StoreAway):
        after.read("rack-1", "humidity", *ALL)
    after.close()


def test_a_first_near_store_needs_influxdb_no_more_once_it_knows_that_it_is_the_first(
    double: InfluxDouble, tmp_path: Path
) -> None:
    """InfluxDB holds nothing older: from then on the near store answers alone, also while InfluxDB is away."""
    store = opened(double, tmp_path)
    store.write([humidity(minute) for minute in range(10)])
    store.carry()
    double.stop()
    assert len(store.read("rack-1", "humidity", *ALL)) == 10
    store.close()


def shared(double: InfluxDouble, folder: Path) -> InfluxStore:
    far = InfluxFar(double.url, "dairy", "rooms", TOKEN, "main")
    return InfluxStore(NearStore(folder / "near.sqlite"), far, taken_in_elsewhere=True)


def test_what_comes_in_on_another_machine_is_gathered(double: InfluxDouble, tmp_path: Path) -> None:
    """One machine takes readings in, another judges: there they mark slots as changed, are read, and are not sent back."""
    (tmp_path / "taking").mkdir()
    (tmp_path / "judging").mkdir()
    taking, judging = shared(double, tmp_path / "taking"), shared(double, tmp_path / "judging")
    taking.write([humidity(0, None), humidity(1, 86.5)])
    taking.carry()
    assert judging.gather() == 2
    assert judging.gather() == 0
    taking.write([humidity(700 * 24 * 60), humidity(2)])
    taking.carry()
    assert judging.gather() == 2
    (series,) = judging.series()
    assert (series.count, series.first_ms) == (4, NOON)
    assert len(judging.changes()) == 2
    assert judging.waiting() == 0
    values = judging.near.read("rack-1", "humidity", NOON, NOON + DAY)["value"]
    assert [None if v != v else v for v in values] == [None, 86.5, 86.0]
    again = shared(double, tmp_path / "judging")
    assert again.gather() == 0
    for store in (taking, judging, again):
        store.close()


def test_marks_do_not_pile_up_where_nobody_judges(double: InfluxDouble, tmp_path: Path) -> None:
    """A machine that only takes readings in lets go of its old marks; where it judges, marks stay until answered."""
    site = load(write_site(tmp_path, 1883, ["rack-1"], more="[store]\ntaken_in_elsewhere = true"))
    store = shared(double, tmp_path)
    store.write([humidity(0)])
    store.gather()
    upkeep(site.store, store, NOON + 400 * DAY)
    assert len(store.changes()) == 1
    store.near.put_document("gathering", 0)
    upkeep(site.store, store, NOON + 401 * DAY)
    assert store.changes() == []
    store.close()


def test_the_judging_machine_goes_on_while_influxdb_is_away(double: InfluxDouble, tmp_path: Path) -> None:
    """What was gathered is read here; a machine that does not gather asks InfluxDB, and says that it is away."""
    store = shared(double, tmp_path)
    store.write([humidity(0)])
    store.carry()
    store.gather()
    double.stop()
    with pytest.raises(StoreAway):
        store.gather()
    assert len(store.read("rack-1", "humidity", *ALL)) == 1
    store.near.put_document("gathering", 0)
    with pytest.raises(StoreAway):
        store.read("rack-1", "humidity", *ALL)
    store.close()


def test_a_machine_that_only_shows_asks_influxdb(double: InfluxDouble, tmp_path: Path) -> None:
    """Pages on a third machine: readings, air records and the days they changed on come from InfluxDB."""
    (tmp_path / "judging").mkdir()
    judging, showing = shared(double, tmp_path / "judging"), shared(double, tmp_path)
    today = now_ms() // DAY
    numbers = (12.0, 11.5, 12.5, 86.0, 85.0, 87.0, 1.0, 9.7, 196.0)
    judging.write_air([AirRecord("vault", "", day * DAY, *numbers) for day in (today - 30, today)])
    judging.carry()
    assert showing.latest_air() == [AirRecord("vault", "", today * DAY, *numbers)]
    days = showing.air_days()
    assert len(days) == 31
    assert [d.day for d in showing.air_days(days[-1].revision)] == [today]
    assert list(showing.read_air("vault", "", 0, 2**52)["rh_pct"]) == [86.0, 86.0]
    for store in (judging, showing):
        store.close()


def test_a_wrong_token_is_said_and_nothing_is_lost(double: InfluxDouble, tmp_path: Path) -> None:
    """A refused token leaves everything waiting, and says so."""
    store = opened(double, tmp_path, token="wrong")
    store.write([humidity(0)])
    with pytest.raises(StoreAway, match="does not know the token"):
        store.carry()
    assert store.waiting() == 1
    store.close()


def test_what_the_environment_lacks_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A site file that asks for InfluxDB without its variables set: the message names them."""
    for name in ("URL", "ORG", "BUCKET", "TOKEN"):
        monkeypatch.delenv(f"MATURING_INFLUX_{name}", raising=False)
    site = load(write_site(tmp_path, 1883, ["rack-1"], more='[store]\nkind = "influx"'))
    with pytest.raises(StoreError, match="MATURING_INFLUX_URL, MATURING_INFLUX_ORG"):
        open_store(site)


def test_the_bucket_is_prepared(
    double: InfluxDouble, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Made where missing, its retention changed where asked, left alone where it fits."""
    for name, value in {"URL": double.url, "ORG": "dairy", "BUCKET": "rooms", "TOKEN": TOKEN}.items():
        monkeypatch.setenv(f"MATURING_INFLUX_{name}", value)
    site_path = write_site(tmp_path, 1883, ["rack-1"], more='[store]\nkind = "influx"')
    said = []
    for more in ([], ["--keep-days", "3650", "--yes"], ["--keep-days", "3650", "--yes"]):
        assert main(["prepare-store", str(site_path), *more]) == 0
        said.append(capsys.readouterr().out.strip())
    assert said == [
        "bucket rooms: made; keeps points for ever",
        "bucket rooms: now keeps points for 3650 days",
        "bucket rooms: there already; keeps points for 3650 days",
    ]
    monkeypatch.setenv("MATURING_INFLUX_ORG", "nobody")
    assert main(["prepare-store", str(site_path)]) != 0
    assert "has no organisation 'nobody'" in capsys.readouterr().err


def test_a_backup_of_the_near_store_comes_back(
    double: InfluxDouble, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What came in after the backup is found in InfluxDB."""
    for name, value in {"URL": double.url, "ORG": "dairy", "BUCKET": "rooms", "TOKEN": TOKEN}.items():
        monkeypatch.setenv(f"MATURING_INFLUX_{name}", value)
    site_path, copy = (
        write_site(tmp_path, 1883, ["rack-1"], more='[store]\nkind = "influx"'),
        tmp_path / "copy",
    )
    store = open_store(load(site_path))
    assert isinstance(store, InfluxStore)
    store.write([humidity(0)])
    assert main(["backup", str(site_path), str(copy)]) == 0
    store.write([humidity(1)])
    store.carry()
    store.near.prune(NOON + DAY)
    store.close()
    assert main(["verify", str(site_path)]) == 0
    assert main(["restore", str(site_path), str(copy), "--yes"]) == 0
    back = open_store(load(site_path))
    assert len(back.read("rack-1", "humidity", *ALL)) == 2
    back.close()
