"""Whoever stands on two routes is told each thing once, by the route that can first; none is silent for the other's sake."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
import sqlalchemy as sa

from monitor.alarms import Alarms, alarms_document
from monitor.alarms import attempts as written
from monitor.alarms import journal as tables
from monitor.alarms.channels import recipients_of
from monitor.alarms.journal import Journal
from monitor.alarms.news import UNDER_WAY_MS
from monitor.alarms.sender import FIRST_WAIT_MS, Sender
from monitor.rules.finding import Finding, Priority
from monitor.site import QuietHours, Route, Site
from monitor.site.alarm_settings import ByPriority
from tests.alarms.people import with_settings
from tests.alarms.samples import MINUTE, START, dry, make_site
from tests.alarms.servers import MailServer
from tests.alarms.test_sender import Channel, Time
from tests.system.parts import wait_for

NORA, PIET = "json://nora.invalid", "json://piet.invalid"


class Told:
    """Two routes, ``phone`` and ``desk``, that both reach Nora (the desk Piet, too), and what arrives."""

    def __init__(self, folder: Path, alarms: Alarms | None = None, **desk: object) -> None:
        site = make_site(folder)
        second = Route(name="desk", address_env="MATURING_ROUTE_DESK", **desk)  # type: ignore[arg-type]
        self.site = with_settings(
            site, routes=(site.routes[0], second), remind_min=ByPriority(medium=30), reminders=2
        )
        journal = alarms.journal if alarms is not None else Journal("sqlite://")
        self.alarms, self.time, self.channel = Alarms(journal, self.site), Time(), Channel()
        self.sender = Sender(self.site, self.alarms, self.channel, self.time)

    def live(self, minutes: int, *findings: Finding, routes: tuple[str, ...] = ("phone", "desk")) -> None:
        for _ in range(minutes):
            self.alarms.update(findings, self.time.now_ms)
            for route in routes:
                self.sender.send_waiting(route)
            self.time.now_ms += MINUTE

    def heard(self, who: str = NORA) -> list[str]:
        return [line.split(":")[0] for address, line in self.channel.taken if address == who]

    def outcomes(self, route: str) -> Counter[str]:
        """How often each outcome was written of a route's recipients."""
        message, attempt = tables.messages.c, tables.attempts.c
        query = sa.select(attempt.outcome).join(tables.messages, message.id == attempt.message_id)
        with self.alarms.journal.reading() as connection:
            rows = connection.execute(query.where(message.route == route, attempt.recipient != 0))
            return Counter(rows.scalars())

    def waits(self) -> int:
        """How many messages still wait for a person."""
        query = sa.select(tables.waiting).join(
            tables.messages, tables.messages.c.id == tables.waiting.c.message_id
        )
        with self.alarms.journal.reading() as connection:
            return len(connection.execute(query.where(tables.messages.c.route != "")).all())


@pytest.fixture(autouse=True)
def addresses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MATURING_ROUTE_PHONE", NORA)
    monkeypatch.setenv("MATURING_ROUTE_DESK", f"{NORA} {PIET}")


def test_raised_reminded_and_over_reach_who_is_on_two_routes_once(
    tmp_path: Path, alarms_of_both: Alarms
) -> None:
    """Nora is on both, Piet on one: each hears all four, and the journal says by which route Nora was told."""
    told = Told(tmp_path, alarms_of_both)
    told.live(90, dry())
    told.live(10)
    assert told.heard(NORA) == told.heard(PIET) == ["Needs you", "Still", "Still", "Over"]
    assert told.outcomes("phone") == {"started": 4, "sent": 4}
    assert told.outcomes("desk") == {"started": 4, "sent": 4, "told": 4}
    assert told.waits() == 0


def test_a_route_on_which_all_know_already_is_not_needed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only Nora on both: the second route's message is closed, and says who told her."""
    monkeypatch.setenv("MATURING_ROUTE_DESK", NORA)
    told = Told(tmp_path)
    told.live(5, dry())
    (shown,) = alarms_document(told.site, told.alarms, START)["standing"]
    (desk,) = [m for m in shown["messages"] if m["route"] == "desk"]
    assert (desk["state"], desk["attempts"], desk["error"]) == ("not-needed", 0, "told by route phone")


def test_a_first_route_that_fails_leaves_it_to_the_second(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The phone's way is down and the desk's is not: Nora hears at once, and not again when the phone is back."""
    monkeypatch.setenv("MATURING_ROUTE_PHONE", "mailto://one.invalid?from=a@b.example&to=nora@home.example")
    monkeypatch.setenv("MATURING_ROUTE_DESK", "mailtos://two.invalid?from=a@b.example&to=Nora@home.example")
    told = Told(tmp_path)
    told.channel.down = {"mailto://one.invalid?from=a@b.example&to=nora@home.example"}
    told.live(1, dry())
    assert [a.partition(":")[0] for a, _ in told.channel.taken] == ["mailtos"]
    told.channel.down = set()
    told.live(20, dry())
    assert len(told.channel.taken) == 1
    assert told.outcomes("phone") == {"started": 1, "failed": 1, "told": 1}
    assert told.waits() == 0


def test_a_route_that_sleeps_leaves_it_to_the_other(tmp_path: Path) -> None:
    """At 03:04 the desk has quiet hours: the phone tells; at 06:30 the desk tells Piet, and Nora nothing."""
    quiet = QuietHours(begin="22:00", end="06:30", below="high")  # type: ignore[arg-type]
    told = Told(tmp_path, quiet_hours=quiet)
    told.live(5, dry())
    assert (told.heard(NORA), told.heard(PIET)) == (["Needs you"], [])
    told.alarms.acknowledge(1, "Nora", now_ms=told.time.now_ms)
    told.live(240, dry())
    assert (told.heard(NORA), told.heard(PIET)) == (["Needs you"], ["Needs you"])


def test_a_route_for_pressing_alarms_leaves_lesser_ones_to_the_other(tmp_path: Path) -> None:
    """The desk is for high and above: a medium alarm goes by the phone alone, a critical one once to each."""
    told = Told(tmp_path, least_priority="high")
    told.live(5, dry())
    assert (told.heard(NORA), told.heard(PIET)) == (["Needs you"], [])
    told.live(5, dry(), dry(Priority.CRITICAL, aspect="freezing", what="Freezing"))
    assert (told.heard(NORA), told.heard(PIET)) == (["Needs you", "Now"], ["Now"])


def test_who_is_called_later_on_another_route_is_called(tmp_path: Path) -> None:
    """Nobody answered for 20 minutes: that is other news than the first message, also for who had that."""
    told = Told(tmp_path, after_min=20)
    told.live(25, dry())
    assert told.heard(NORA) == ["Needs you", "Not answered"]


def test_what_comes_again_after_its_end_is_told_again_once(tmp_path: Path) -> None:
    """Dry, over, dry, over: four messages to Nora, whichever route comes round first."""
    told = Told(tmp_path)
    for routes in (("phone", "desk"), ("desk", "phone")):
        told.live(10, dry(), routes=routes)
        told.live(10, routes=routes)
    assert told.heard(NORA) == ["Needs you", "Over", "Needs you", "Over"]
    assert told.outcomes("phone")["told"] == told.outcomes("desk")["told"] == 2


def test_the_daily_message_comes_once(tmp_path: Path) -> None:
    """At 07:30 both routes have it for Nora."""
    told = Told(tmp_path)
    told.site = with_settings(told.site, daily_at="07:30")
    told.alarms = Alarms(told.alarms.journal, told.site)
    told.sender = Sender(told.site, told.alarms, told.channel, told.time)
    told.live(5 * 60)
    assert told.heard(NORA) == told.heard(PIET) == ["Not all is well"]


@pytest.mark.parametrize("back", ["phone", "desk"])
def test_an_attempt_cut_short_by_a_crash_holds_up_the_other_for_a_moment_only(
    tmp_path: Path, back: str
) -> None:
    """The process died as the phone was sending: the phone tries again first; where it never does, the desk tells after 90 s."""
    told = Told(tmp_path)
    told.alarms.update([dry()], START)
    (nora,) = recipients_of(NORA)
    written.note(told.alarms.journal, 2, nora.number, 1, "started", START)
    told.sender.send_waiting("desk")
    assert (told.heard(NORA), told.heard(PIET)) == ([], ["Needs you"])
    told.time.now_ms += FIRST_WAIT_MS if back == "phone" else UNDER_WAY_MS
    told.sender.send_waiting(back)
    assert told.heard(NORA) == ["Needs you"]
    told.live(20, dry())
    assert told.heard(NORA) == ["Needs you"]
    assert told.waits() == 0


def test_workers_that_send_at_once_tell_a_mailbox_once(
    site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Four routes with a worker each and one mailbox, on a real mail server: ten alarms are ten mails."""
    names = [f"route-{n}" for n in range(4)]
    routes = tuple(Route(name=name, address_env="MAIL") for name in names)
    several = with_settings(site, routes=routes, hold_s=0)
    alarms = Alarms(Journal(f"sqlite:///{tmp_path}/alarms.sqlite"), several)
    several.data_folder.mkdir(exist_ok=True)
    told = [dry(aspect=f"humidity-{n}", cause=f"{n}") for n in range(10)]
    with MailServer() as mail:
        monkeypatch.setenv("MAIL", mail.address("nora@home.example"))
        sender = Sender(several, alarms, clock=lambda: START)
        sender.start()
        alarms.update(told, START)
        waiting = sa.select(tables.waiting)

        def done() -> bool:
            with alarms.journal.reading() as connection:
                return not connection.execute(waiting).all()

        wait_for(done, 60, "all messages to be done with")
        sender.stop()
        assert len(mail.mails) == 10
    alarms.close()
