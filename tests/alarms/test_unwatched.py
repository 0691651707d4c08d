"""A monitor that cannot start, since its store does not open: people are told once by their routes, journal or not."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa

from monitor.alarms import Alarms, open_alarms
from monitor.alarms import journal as tables
from monitor.alarms.journal import rebuilt
from monitor.alarms.sender import Sender
from monitor.alarms.unwatched import Unwatched
from monitor.errors import AlarmError
from monitor.rules.finding import Priority
from monitor.rules.own_parts import WORDS
from monitor.service import Service
from monitor.service import __name__ as service_module
from monitor.site import Route, Site
from monitor.store.embedded import FILE_NAME
from tests.alarms.people import with_settings
from tests.alarms.samples import MINUTE, START, dry
from tests.alarms.servers import Webhook
from tests.alarms.test_sender import Channel, Time
from tests.system.parts import wait_for

pytestmark = pytest.mark.usefixtures("phones")
NORA, PIET = "json://phone.invalid", "json://second.invalid"
REASON = "the store /srv/data/readings.sqlite cannot be used now: disk I/O error"
PARTS = ("intake", "judge", "send")


@pytest.fixture
def two(site: Site) -> Site:
    second = Route(name="second", address_env="MATURING_ROUTE_SECOND", after_min=20)
    return with_settings(site, routes=(site.routes[0], second), hold_s=0)


class Start:
    """A monitor that tries to start once a minute, and what people hear of it."""

    def __init__(self, site: Site, parts: tuple[str, ...] = PARTS) -> None:
        self.site, self.time, self.channel = site, Time(), Channel()
        steady = lambda: self.time.now_ms - START  # noqa: E731
        self.waiting = Unwatched(site, parts, self.channel, self.time, steady)

    def fails(self, minutes: int, reason: str = REASON) -> None:
        for _ in range(minutes):
            self.waiting.failed(reason)
            self.time.now_ms += MINUTE

    def succeeds(self) -> Alarms:
        """What the judge does first, with nothing found any more."""
        self.waiting.hand_over()
        self.waiting.over()
        alarms = open_alarms(self.site)
        sender = Sender(self.site, alarms, self.channel, self.time)
        for _ in range(3):
            alarms.update([], self.time.now_ms)
            sender.send_waiting()
            self.time.now_ms += MINUTE
        return alarms

    @property
    def heard(self) -> list[tuple[str, str]]:
        return [(to, line.split(":")[0]) for to, line in self.channel.taken]


def break_folder(site: Site) -> None:
    """A file stands where the data folder is to be: neither store nor journal can be opened."""
    site.data_folder.parent.mkdir(parents=True, exist_ok=True)
    site.data_folder.write_text("not a folder", "utf-8")


def test_where_only_the_store_is_away_the_alarm_is_one_of_the_journal(two: Site) -> None:
    """After three minutes Nora is told why, with a journal behind it; once the monitor runs, that it is over."""
    start = Start(two)
    start.fails(3)
    assert not (two.data_folder / "alarms.sqlite").exists()
    start.fails(1)
    wait_for(lambda: start.heard, 30, "the message")
    start.fails(5)
    alarms = start.succeeds()
    assert start.heard == [(NORA, "Now"), (NORA, "Over")]
    (over,) = alarms.standing()
    assert over.state == "returned-unacknowledged"
    assert over.finding.what == f"The monitor cannot start ({REASON})"
    assert "nobody watches the air" in over.finding.effect
    alarms.close()


def test_a_store_that_is_away_for_two_minutes_is_nobodys_message(two: Site) -> None:
    """A machine that starts before its disk is there."""
    start = Start(two)
    start.fails(2)
    start.succeeds().close()
    assert start.heard == []


def test_where_there_is_no_journal_either_people_are_told_all_the_same(two: Site) -> None:
    """Store and journal on one broken disk for an hour: Nora once, Piet once after 20 minutes, and both that it is over.

    The journal, once there is one, has the alarm since its beginning, and the messages as sent when they were.
    """
    break_folder(two)
    start = Start(two)
    start.fails(60)
    assert start.heard == [(NORA, "Now"), (PIET, "Not answered")]
    assert "The monitor cannot start" in start.channel.taken[0][1]
    two.data_folder.unlink()
    alarms = start.succeeds()
    assert sorted(start.heard[2:]) == [(NORA, "Over"), (PIET, "Over")]
    (standing,) = alarms.standing()
    assert REASON in standing.finding.what
    assert (standing.state, standing.raised_ms) == ("returned-unacknowledged", START + 3 * MINUTE)
    message, attempt = tables.messages.c, tables.attempts.c
    query = (
        sa.select(message.route, message.about, attempt.time_ms)
        .join(tables.messages, message.id == attempt.message_id)
        .where(attempt.outcome == "sent", message.about.in_(("raised", "escalated")), message.route != "")
        .order_by(attempt.time_ms)
    )
    with alarms.journal.reading() as connection:
        sent = [tuple(row) for row in connection.execute(query)]
        kept = [dict(r) for r in connection.execute(sa.select(tables.alarms)).mappings()]
        assert rebuilt(connection) == kept
    assert sent == [
        ("phone", "raised", START + 3 * MINUTE),
        ("second", "escalated", START + 23 * MINUTE),
    ]
    log = (two.data_folder / "messages.log").read_text("utf-8")
    assert "The monitor cannot start" in log
    alarms.close()


def test_a_route_that_fails_at_first_is_tried_again_without_a_journal_too(two: Site) -> None:
    """The network comes up ten minutes later than the monitor: told then, once."""
    break_folder(two)
    start = Start(two)
    start.channel.down = {NORA, PIET}
    start.fails(10)
    assert start.heard == []
    start.channel.down = set()
    start.fails(10)
    assert start.heard == [(NORA, "Now")]


def test_what_could_not_be_sent_leaves_from_the_journal(two: Site) -> None:
    """Nobody could be told before there was a journal, and the monitor still does not start: it is sent from there."""
    break_folder(two)
    start = Start(two)
    start.channel.down = {NORA, PIET}
    start.fails(10)
    two.data_folder.unlink()
    start.channel.down = set()
    start.fails(10)
    wait_for(lambda: start.heard, 30, "the message")
    start.succeeds().close()
    assert start.heard == [(NORA, "Now"), (NORA, "Over")]


def test_a_journal_that_opens_and_takes_nothing_is_as_good_as_none(two: Site) -> None:
    """A full disk: told from memory, once; what was told is written once there is room."""
    alarms = open_alarms(two)
    full = "BEFORE INSERT ON transitions BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END"
    with alarms.journal.transaction() as connection:
        connection.exec_driver_sql(f"CREATE TRIGGER full {full}")
    start = Start(two)
    start.fails(15)
    assert start.heard == [(NORA, "Now")]
    with pytest.raises(AlarmError, match="disk is full"):
        start.waiting.hand_over()
    with alarms.journal.transaction() as connection:
        connection.exec_driver_sql("DROP TRIGGER full")
    start.succeeds().close()
    assert start.heard == [(NORA, "Now"), (NORA, "Over")]
    assert [step["event"] for step in alarms.history(1)] == ["raise", "return"]
    alarms.close()


def test_what_stood_before_stands_on(two: Site) -> None:
    """Gas stood when the machine went down: that the monitor cannot start ends no alarm but its own."""
    alarms = open_alarms(two)
    alarms.update([dry(Priority.CRITICAL, rule="gases")], START)
    start = Start(two)
    start.fails(10)
    wait_for(lambda: len(start.heard) == 2, 30, "both messages")
    assert {a.finding.rule for a in alarms.standing() if a.active} == {"gases", "monitor"}
    start.waiting.hand_over()
    alarms.close()


def test_an_alarm_that_stands_in_both_goes_on_as_one(two: Site) -> None:
    """Told from the journal, which then broke, and told from memory: one alarm afterwards, and its end once."""
    start = Start(two)
    start.fails(5)
    wait_for(lambda: start.heard, 30, "the message")
    start.waiting.hand_over()
    moved = two.data_folder.rename(two.data_folder.with_name("moved"))
    break_folder(two)
    start.fails(5)
    assert start.heard == [(NORA, "Now"), (NORA, "Now")]
    two.data_folder.unlink()
    moved.rename(two.data_folder)
    alarms = start.succeeds()
    assert [a.id for a in alarms.standing()] == [1]
    assert start.heard[2:] == [(NORA, "Over")]
    alarms.close()


def test_a_process_that_only_takes_readings_in_tells_nobody(two: Site) -> None:
    """The others, which judge and send, do."""
    break_folder(two)
    start = Start(two, ("intake",))
    start.fails(10)
    assert start.heard == []


@pytest.mark.parametrize("trouble", ["no folder", "damaged"])
def test_a_service_that_waits_for_its_store_tells_and_begins_once_it_can(
    two: Site, monkeypatch: pytest.MonkeyPatch, trouble: str
) -> None:
    """The whole service, over a real webhook: it cannot start, a person mends it, and it runs."""
    monkeypatch.setitem(WORDS, "start", replace(WORDS["start"], after_ms=0))
    monkeypatch.setattr(f"{service_module}.START_AGAIN_S", 0.1)
    broken: Path = two.data_folder
    if trouble == "no folder":
        break_folder(two)
    else:
        two.data_folder.mkdir(parents=True)
        broken = two.data_folder / FILE_NAME
        broken.write_bytes(b"this is not a database, whatever its name says" * 100)
    with Webhook() as hook:
        monkeypatch.setenv("MATURING_ROUTE_PHONE", hook.address)
        service = Service(two, ["judge", "send"])
        running = threading.Thread(target=service.run)
        running.start()
        wait_for(lambda: hook.taken, 60, "word that it does not start")
        broken.unlink()
        wait_for(lambda: len(hook.taken) > 1, 60, "word that it is over")
        service.stop()
        running.join(30)
        assert [body["title"].split(":")[0] for body, _ in hook.taken] == ["Now", "Over"]
        told = hook.taken[0][0]["message"]
        assert "The monitor cannot start (the " in told
        assert ("cannot be made" if trouble == "no folder" else "is damaged") in told
