"""Trying alarms on history, testing a route, and what the commands say."""

from __future__ import annotations

import json
import re
from datetime import UTC, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from monitor.alarms import open_alarms, statistics_document
from monitor.alarms.texts import statistics_text, try_text
from monitor.cli import main
from monitor.climate.air_records import AirKeeper
from monitor.clock import from_ms, parse_rfc3339, to_ms
from monitor.records import Reading
from monitor.site import Site, load
from monitor.store import open_store
from monitor.wheels import open_ledger
from tests.alarms.samples import MINUTE, START, dry
from tests.alarms.servers import MailServer, Webhook
from tests.test_site import GOOD

BEGIN = to_ms(parse_rfc3339("2026-03-01T00:00:00Z"))
DRY_FROM, DRY_UNTIL = 120, 300
"""The minutes in which the vault's air is too dry."""


def with_paces(text: str) -> str:
    """A site file whose drying pace is told within the three dry hours."""
    return text.replace(
        "[room.rules.band]", "[room.rules.drying_pace]\nmean_h = 0\ndelay_min = 60\n[room.rules.band]"
    )


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """Nine hours of the vault at 84 %, but for three at 70 %; two wheels lie in it."""
    (tmp_path / "site.toml").write_text(
        with_paces(GOOD.replace("delay_min = 5", "delay_min = 20")), encoding="utf-8"
    )
    (tmp_path / "changed.toml").write_text(
        with_paces(GOOD.replace("delay_min = 5", "delay_min = 600")), encoding="utf-8"
    )
    site = load(tmp_path / "site.toml")
    made = from_ms(BEGIN) - timedelta(days=100)
    with open_ledger(site, clock=lambda: from_ms(BEGIN + 3 * 24 * 60 * MINUTE)) as ledger:
        ledger.add_make(
            "HF",
            "clothed",
            made,
            ["HF-01", "HF-02"],
            author="Nora",
            mass_kg=22,
            room="vault",
            place="low-rack",
        )
    store = open_store(site)
    readings = []
    for minute in range(-60, 480, 5):
        humidity = 70.0 if DRY_FROM <= minute < DRY_UNTIL else 84.0
        at = BEGIN + minute * MINUTE
        readings += [Reading("nv-1", "temperature", at, 10.5), Reading("nv-1", "humidity", at, humidity)]
    store.write(readings)
    AirKeeper(site, store).update(100_000)
    store.close()
    return site


def tried(capsys: pytest.CaptureFixture[str], site: Site, *more: str) -> dict[str, Any]:
    given = [
        "try-alarms",
        str(site.path),
        "--from",
        "2026-03-01",
        "--to",
        "2026-03-01T08:00",
        "--json",
        *more,
    ]
    assert main(given) == 0
    return json.loads(capsys.readouterr().out)  # type: ignore[no-any-return]


def test_history_alarms_as_it_would_have_and_leaves_no_trace(
    site: Site, capsys: pytest.CaptureFixture[str]
) -> None:
    """Dry air alarms 20 minutes after the first record that shows it, until the first that does not; the journal and the log stay as they were."""
    document = tried(capsys, site)
    (row,) = [r for r in document["rows"] if r["as_is"]["rule"] == "band"]
    assert row["as_is"]["raised_at"] == "2026-03-01T02:30:00Z"
    assert row["as_is"]["over_at"] == "2026-03-01T05:10:00Z"
    assert "Humidity 70.0 % at low-rack" in row["as_is"]["what"]
    assert row["changed"] is None
    assert document["as_is"]["messages"]["phone"] >= 2
    assert not (site.data_folder / "messages.log").exists()
    assert not (site.data_folder / "alarms.sqlite").exists()


def test_a_door_that_stood_open_alarms_in_history_too(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    """Open from 01:07 to 01:45 by its contact: raised at the first look after a quarter of an hour, over once it is shut."""
    door = '[[sensor]]\nid = "nv-door"\nroom = "vault"\nplace = "low-rack"\nquantities = ["door_open"]\n\n[[style]]\n'
    text = site.path.read_text(encoding="utf-8").replace("[[style]]\n", door, 1)
    site.path.write_text(text, encoding="utf-8")
    store = open_store(site)
    said = ((0, 0.0), (67, 1.0), (77, 1.0), (105, 0.0))
    store.write([Reading("nv-door", "door_open", BEGIN + m * MINUTE, on) for m, on in said])
    store.close()
    (row,) = [r["as_is"] for r in tried(capsys, site)["rows"] if r["as_is"]["rule"] == "contacts"]
    assert row["what"] == "Door of North vault has stood open for 23 min"
    assert (row["raised_at"], row["over_at"]) == ("2026-03-01T01:30:00Z", "2026-03-01T01:50:00Z")


def test_changed_settings_stand_beside_those_as_they_are(
    site: Site, capsys: pytest.CaptureFixture[str]
) -> None:
    """With a delay of ten hours the band stays silent through the three; the pace rules say the same in both."""
    document = tried(capsys, site, "--with", str(site.path.parent / "changed.toml"))
    by_rule = {r["key"].split("/")[0]: r for r in document["rows"]}
    assert by_rule["band"]["changed"] is None
    assert by_rule["drying_pace"]["changed"] == by_rule["drying_pace"]["as_is"]
    shown = try_text(document, ZoneInfo("Europe/Dublin"))
    assert re.search(r"2026-03-01 02:30 +2\.7 h +-- +North vault: Humidity 70\.0 %", shown)
    assert re.search(
        r"In 0\.3 days, in whole slots of ten minutes: as it is 3 raised, \d messages?; as changed 2 raised",
        shown,
    )
    assert "Times are those of Europe/Dublin." in shown


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (["--from", "yesterday"], "'yesterday' is no date or time"),
        (["--from", "2026-03-03", "--to", "2026-03-01"], "ends before it begins"),
        (["--from", "2999-01-01"], "--from 2999-01-01 has not come yet"),
    ],
)
def test_a_span_that_cannot_be_is_refused(
    site: Site, capsys: pytest.CaptureFixture[str], given: list[str], words: str
) -> None:
    """What is no time, or the wrong way round, is told in words."""
    assert main(["try-alarms", str(site.path), *given]) == 1
    assert words in capsys.readouterr().err


def test_a_test_message_says_who_was_reached(
    site: Site, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each recipient is named by number, with the reason where it was not reached."""
    with MailServer() as mail, Webhook() as hook:
        mail.refused = {"piet@home.example"}
        monkeypatch.setenv(
            "MATURING_ROUTE_PHONE", f"{mail.address('nora@home.example', 'piet@home.example')} {hook.address}"
        )
        assert main(["test-message", str(site.path), "phone"]) == 1
        shown = capsys.readouterr()
        assert [to for to, _, _ in mail.mails] == ["nora@home.example"]
        assert len(hook.taken) == 1
    assert "recipient 1 (mailto): taken" in shown.out
    assert "recipient 2 (mailto): the mail server refused the recipient (550 no such mailbox)" in shown.out
    assert "recipient 3 (json): taken" in shown.out


@pytest.mark.parametrize(
    ("address", "words"),
    [
        (None, "MATURING_ROUTE_PHONE holds no address"),
        ("pigeon://loft", "no kind of address is called 'pigeon'"),
        ("nora@home.example", "an address begins with its kind"),
        ("mailto://", "lacks something"),
    ],
)
def test_an_address_that_cannot_be_used_is_told_without_its_secret(
    site: Site,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    address: str | None,
    words: str,
) -> None:
    """An unknown kind, none at all, half of one: the variable is named, its value is not."""
    monkeypatch.delenv("MATURING_ROUTE_PHONE", raising=False)
    if address is not None:
        monkeypatch.setenv("MATURING_ROUTE_PHONE", address)
    assert main(["test-message", str(site.path), "phone"]) == 1
    said = capsys.readouterr().err
    assert words in said
    assert "loft" not in said
    assert "nora@" not in said


def test_a_check_notes_what_the_environment_lacks(
    site: Site, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file is fine, and may be checked elsewhere; that messages would wait here is a note."""
    monkeypatch.delenv("MATURING_ROUTE_PHONE", raising=False)
    assert main(["check", str(site.path)]) == 0
    said = capsys.readouterr().err
    assert (
        "note: route phone: environment variable MATURING_ROUTE_PHONE holds no address; its messages wait"
        in said
    )


def test_an_unknown_route_is_refused_with_those_there_are(
    site: Site, capsys: pytest.CaptureFixture[str]
) -> None:
    """The routes of the file are named."""
    assert main(["test-message", str(site.path), "fax"]) == 1
    assert "there is no route 'fax' in site.toml; there are: phone" in capsys.readouterr().err


def test_work_is_planned_listed_and_ended(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    """From the command line: plan, see, end."""
    path = str(site.path)
    assert main(["plan-work", path, "vault", "washing", "--hours", "3", "--as", "Piet"]) == 0
    assert main(["planned-work", path]) == 0
    shown = capsys.readouterr().out
    assert "Work 1: washing in North vault until " in shown
    assert "washing      North vault" in shown
    assert "under way  (Piet)" in shown
    assert main(["end-work", path, "1", "--as", "Piet"]) == 0
    assert main(["planned-work", path]) == 0
    assert "No work is planned." in capsys.readouterr().out


def test_figures_stand_beside_those_of_others(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    """Counted by hand: 14 alarms in one minute are a flood; one was acknowledged after 30 minutes; two rooms' shares."""
    alarms = open_alarms(site)
    many = [dry(aspect=f"a-{n}") for n in range(14)]
    alarms.update(many, START)
    alarms.acknowledge(1, "Nora", now_ms=START + 30 * MINUTE)
    alarms.update(many[:1], START + 60 * MINUTE)
    for minute in range(3):
        alarms.update(many[:1], START + 120 * MINUTE + minute * 1000)
        alarms.update(many[:2], START + 120 * MINUTE + minute * 1000 + 500)
    document = statistics_document(site, alarms, START + 26 * 60 * MINUTE, days=2)
    assert document["raised"] == 17
    assert document["raised_per_day"] == 8.5
    assert document["most_in_ten_minutes"] == 14
    assert document["floods"] == 1
    assert document["share_of_time_in_flood_pct"] == pytest.approx(100 * 10 / (2 * 1440), abs=0.01)
    assert document["minutes_to_acknowledge"] == {"median": 30.0, "nine_in_ten": 30.0, "count": 1}
    assert document["never_acknowledged"] == 13
    assert document["chattering"] == 1
    assert (document["standing"], document["stale"]) == (2, 2)
    assert document["priorities_pct"]["medium"] == 100.0
    shown = statistics_text(document, UTC)
    assert "raised a day                         8.5\n" in shown
    assert "others: at most 120 (EEMUA 191" in shown
    assert "half within 30, nine in ten within 30, of 1 acknowledged" in shown
    alarms.close()
