"""The embedded store's own ways: other processes, torn and newer files, backups, and the commands about it."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import main
from monitor.clock import DAY_MS
from monitor.errors import StoreAway, StoreDamaged, StoreError
from monitor.records import AirRecord, Reading
from monitor.site import StoreSettings
from monitor.store.commands import COMMANDS
from monitor.store.embedded import FILE_NAME, EmbeddedStore
from monitor.store.exporting import export
from monitor.store.safekeeping import backup, restore, verify
from monitor.store.upkeep import upkeep
from tests.system.parts import wait_for
from tests.system.running import MonitorProcess

NOON = 1_772_366_400_000
SITE = """version = 1
[site]
name = "Test"
[[room]]
id = "cave"
name = "Cave"
kind = "cave"
[[room.place]]
id = "left"
"""


def readings(count: int, step_ms: int = 60_000) -> list[Reading]:
    return [Reading("rack-1", "temperature", NOON + n * step_ms, 12 + n % 50 / 100) for n in range(count)]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "data" / FILE_NAME


@pytest.fixture
def store(path: Path) -> Iterator[EmbeddedStore]:
    held = EmbeddedStore(path, busy_ms=50)
    yield held
    held.close()


def test_another_opening_sees_what_is_committed(store: EmbeddedStore, path: Path) -> None:
    """The dashboard's own opening of the file reads while the service writes."""
    other = EmbeddedStore(path)
    for number in range(3):
        store.write(readings(10 * (number + 1)))
        assert other.series()[0].count == 10 * (number + 1)
    other.close()


def test_a_locked_file_is_a_store_that_is_away(store: EmbeddedStore, path: Path) -> None:
    """While another process holds the file, writing says so; afterwards it works again."""
    lock = sqlite3.connect(path, isolation_level=None)
    lock.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreAway, match="locked"):
        store.write(readings(1))
    lock.execute("ROLLBACK")
    lock.close()
    assert store.write(readings(1)).new == 1


def test_a_file_of_a_newer_version_is_refused(store: EmbeddedStore, path: Path) -> None:
    """A file with a migration that we do not know is not touched."""
    store.close()
    newer = sqlite3.connect(path)
    newer.execute("INSERT INTO migration VALUES ('colours of rinds', 0)")
    newer.execute("PRAGMA user_version = 99")
    newer.commit()
    newer.close()
    with pytest.raises(StoreDamaged, match=r"newer version.*colours of rinds"):
        EmbeddedStore(path)


def test_a_torn_file_is_told_with_the_remedy(path: Path) -> None:
    """A file that is no database names the way back."""
    path.parent.mkdir(parents=True)
    path.write_bytes(b"SQLite format 3\x00" + b"\xff" * 5000)
    with pytest.raises(StoreDamaged, match="restore"):
        EmbeddedStore(path)


def test_a_file_torn_in_the_middle_is_told_when_it_is_read(store: EmbeddedStore, path: Path) -> None:
    """Pages lost amid the file (a bad block) open well; reading and writing over them says so and names the way back."""
    store.write(readings(5000))
    store.close()
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(8192)
        file.write(b"\xa5" * (size - 8192))
    torn = EmbeddedStore(path)
    with pytest.raises(StoreDamaged, match="restore"):
        torn.read("rack-1", "temperature", 0, 2**52)
    assert not verify(path).sound


@pytest.mark.parametrize("words", [["rooms"], ["verify"], ["health"]])
def test_a_torn_file_is_told_by_every_command(
    path: Path, tmp_path: Path, words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """No command ends in a traceback over a torn file: it says what is wrong and what brings the readings back."""
    site = tmp_path / "site.toml"
    site.write_text(SITE)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"SQLite format 3\x00" + b"\xff" * 5000)
    assert main([*words, str(site)]) != 0
    told = capsys.readouterr()
    assert "damaged" in told.out + told.err
    assert "maturing-room restore" in told.out + told.err
    assert "Traceback" not in told.err


def test_the_monitor_waits_for_a_torn_file_to_be_mended(path: Path, tmp_path: Path) -> None:
    """It says once what is wrong and what brings the readings back, waits for that, and ends when it is told to."""
    site = tmp_path / "site.toml"
    site.write_text(SITE)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"SQLite format 3\x00" + b"\xff" * 5000)
    with MonitorProcess(site) as monitor:
        wait_for(
            lambda: "maturing-room restore" in monitor.log.read_text("utf-8"), 60, "word of the torn file"
        )
        assert monitor.stop() == 0
    told = monitor.log.read_text("utf-8")
    assert told.count("is damaged") == 1
    assert "Traceback" not in told


def test_another_programs_database_is_left_alone(path: Path) -> None:
    """A database that is not ours is refused, not migrated."""
    path.parent.mkdir(parents=True)
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE recipes (name TEXT)")
    other.close()
    with pytest.raises(StoreDamaged, match="another program"):
        EmbeddedStore(path)


def test_a_backup_taken_while_writing_is_whole(store: EmbeddedStore, path: Path, tmp_path: Path) -> None:
    """A backup of a live store is sound and comes back with everything in it."""
    store.write(readings(3000))
    store.seal(NOON + DAY_MS)
    target = tmp_path / "copy.sqlite"
    account = backup(path, target)
    assert (account.readings, account.series, account.sound) == (3000, 1, True)
    store.write(readings(3001)[3000:])
    store.close()
    aside = restore(target, path)
    back = EmbeddedStore(path)
    assert back.series()[0].count == 3000
    back.close()
    assert aside is not None
    assert verify(aside).readings == 3001
    with pytest.raises(StoreError, match="there already"):
        backup(path, target)


def test_verify_finds_a_flipped_piece_and_a_wrong_count(store: EmbeddedStore, path: Path) -> None:
    """A torn sealed day and a lost row are both told."""
    store.write(readings(2000))
    store.seal(NOON + DAY_MS)
    store.close()
    harm = sqlite3.connect(path)
    harm.execute("UPDATE sealed SET data = substr(data, 1, 20)")
    harm.execute("DELETE FROM reading WHERE time_ms = (SELECT max(time_ms) FROM reading)")
    harm.commit()
    harm.close()
    faults = verify(path).faults
    assert any("sealed day cannot be read" in fault for fault in faults)
    assert any("were counted" in fault for fault in faults)


def test_a_backup_that_is_not_sound_is_not_restored(path: Path, store: EmbeddedStore, tmp_path: Path) -> None:
    """Rubbish never takes the place of readings."""
    store.write(readings(1))
    rubbish = tmp_path / "rubbish"
    rubbish.write_bytes(b"rubbish" * 1000)
    with pytest.raises(StoreDamaged):
        restore(rubbish, path)
    assert store.series()[0].count == 1


def test_upkeep_seals_and_forgets_as_the_site_asks(store: EmbeddedStore) -> None:
    """Days older than a week are sealed; a quantity with keep_days goes after those."""
    store.write(readings(20 * 24, 3_600_000))
    later = NOON + 20 * DAY_MS
    assert upkeep(StoreSettings(), store, later) > 10
    assert upkeep(StoreSettings(), store, later) == 0
    upkeep(StoreSettings(keep_days={"temperature": 3}), store, later)
    assert store.series()[0].count <= 4 * 24


def test_export_writes_every_reading_exactly(store: EmbeddedStore) -> None:
    """Numbers come out with all their digits; a formula in a name stays text."""
    store.write([*readings(5), Reading("=1+1", "humidity", NOON, 86.123456789)])
    text = io.StringIO()
    assert export(store, text) == 6
    rows = list(csv.DictReader(io.StringIO(text.getvalue())))
    assert rows[0]["sensor"] == "'=1+1"
    assert float(rows[0]["value"]) == 86.123456789
    assert rows[1]["time"] == "2026-03-01T12:00:00Z"


def test_the_commands(store: EmbeddedStore, path: Path, tmp_path: Path) -> None:
    """backup, verify, export and restore work by the site file."""
    store.write(readings(10))
    site = tmp_path / "site.toml"
    site.write_text(SITE)
    command = {c.name: c for c in COMMANDS}
    runner = CliRunner()

    def run(name: str, *arguments: str) -> str:
        result = runner.invoke(command[name], [str(site), *arguments], catch_exceptions=False)
        assert result.exit_code == 0, result.output
        return result.output

    assert "10 readings" in run("backup", str(tmp_path / "copy"))
    assert json.loads(run("verify", "--json"))["sound"] is True
    assert len(run("export", "--sensor", "rack-1", "--from", "2026-03-01T12:05:00Z").splitlines()) == 6
    store.close()
    assert "restored" in run("restore", str(tmp_path / "copy"), "--yes")


def test_a_look_at_the_days_of_air_never_cuts_a_revision_in_two(store: EmbeddedStore, path: Path) -> None:
    """Forty days of air that stand under one revision, as those of an older file do, are told whole, though ten are
    asked for: a reader goes on after the last revision told, and would never hear of the rest."""
    store.write_air(
        [AirRecord("cave", "left", NOON + n * DAY_MS, 11.0, 11.0, 11.0, 88.0, 88.0, 88.0, 1.0, 9.0, 150.0) for n in range(40)]
    )  # fmt: skip
    with sqlite3.connect(path) as older:
        older.execute("UPDATE air_day SET revision = 1")
    older.close()
    told = store.air_days(0, 10)
    assert len({d.day for d in told}) == 40
    assert store.air_days(told[-1].revision, 10) == []
