"""`maturing-room import-readings`: shows what it understood, asks, imports, and says what it did."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.site import load
from monitor.store import open_store
from tests.intake.test_csv_import import PLAIN, written
from tests.system.running import write_site

Captured = pytest.CaptureFixture[str]


@pytest.fixture
def site_path(tmp_path: Path) -> Path:
    return write_site(tmp_path, 1883, ["rack-1"])


def run(site_path: Path, text: str, *more: str) -> int:
    path = written(site_path.parent, text)
    return main(["import-readings", str(site_path), str(path), *more])


def count(site_path: Path) -> int:
    store = open_store(load(site_path))
    try:
        return sum(s.count for s in store.series())
    finally:
        store.close()


def test_a_dry_run_shows_and_writes_nothing(site_path: Path, capsys: Captured) -> None:
    """Columns, units and the first readings in UTC are shown; the store stays empty."""
    assert run(site_path, PLAIN, "--sensor", "rack-1", "--dry-run") == 0
    shown = capsys.readouterr().out
    assert "columns by comma, decimal '.', dates year-first, clock of Europe/Dublin" in shown
    assert "Relative humidity (%)" in shown
    assert "2026-03-01T06:00:00Z  rack-1  humidity 86.20 %RH" in shown
    assert count(site_path) == 0


def test_what_was_done_is_told(site_path: Path, capsys: Captured) -> None:
    """New readings, and as JSON for programs."""
    assert run(site_path, PLAIN, "--sensor", "rack-1", "--yes", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["new"], told["already"], told["from_at"]) == (4, 0, "2026-03-01T06:00:00Z")
    assert count(site_path) == 4


def test_a_doubt_is_not_passed_over_without_asking(site_path: Path, capsys: Captured) -> None:
    """With --yes a date that could be either stops the import and says what to state."""
    text = "date,temperature\n02/03/2026 06:00,11.8\n02/03/2026 06:10,11.9\n"
    assert run(site_path, text, "--sensor", "rack-1", "--yes") == 1
    assert "--order day-first or --order month-first" in capsys.readouterr().err
    assert count(site_path) == 0
    assert run(site_path, text, "--sensor", "rack-1", "--yes", "--order", "day-first") == 0


@pytest.mark.parametrize(
    ("more", "status", "said"),
    [
        (["--sensor", "rack-9"], 2, "no sensor 'rack-9'"),
        (["--sensor", "rack-1", "--time-zone", "Mars"], 1, "'Mars' is no time zone"),
        (
            ["--sensor", "rack-1", "--unit", "temperature=furlong"],
            1,
            "'furlong' is not a unit of temperature",
        ),
        (["--sensor", "rack-1", "--unit", "colour=red"], 2, "write QUANTITY=..."),
        (["--sensor", "rack-1", "--column", "humidity=Damp"], 1, "no one column is called 'Damp'"),
        (["--yes"], 1, "state it with --sensor"),
    ],
)
def test_what_cannot_be_is_said(
    site_path: Path, capsys: Captured, more: list[str], status: int, said: str
) -> None:
    """Each option that cannot be is named with what would be right, and nothing is written."""
    assert run(site_path, PLAIN, *more) == status
    assert said in capsys.readouterr().err
    assert count(site_path) == 0
