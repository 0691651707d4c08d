"""The outbox: each recipient gets each message once, through refusals, silences and crashes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from monitor.alarms import Alarms, alarms_document
from monitor.alarms.channels import Key, Recipient
from monitor.alarms.sender import FIRST_WAIT_MS, Sender
from monitor.alarms.words import Words
from monitor.rules.finding import Finding
from monitor.site import Site
from tests.alarms.samples import START, dry, make_alarms, make_site


class Time:
    """A clock that the test moves."""

    def __init__(self) -> None:
        self.now_ms = START

    def __call__(self) -> int:
        return self.now_ms


class Channel:
    """A channel that takes messages, or refuses them while ``down``."""

    def __init__(self) -> None:
        self.down: set[str] = set()
        self.taken: list[tuple[str, str]] = []

    def __call__(self, recipient: Recipient, words: Words, key: Key, form: str) -> str:
        if recipient.address in self.down:
            return "it is down"
        self.taken.append((recipient.address, words.line))
        return ""


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return make_site(tmp_path)


@pytest.fixture
def alarms(tmp_path: Path) -> Alarms:
    return make_alarms(tmp_path)


@pytest.fixture(autouse=True)
def addresses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MATURING_ROUTE_PHONE", "json://nora.invalid json://piet.invalid")


def test_each_recipient_of_a_route_is_told_once(site: Site, alarms: Alarms) -> None:
    """Two addresses on one route get the message each, however often the worker comes round."""
    channel = Channel()
    sender = Sender(site, alarms, channel, Time())
    alarms.update([dry()], START)
    for _ in range(5):
        sender.send_waiting()
    assert [address for address, _ in channel.taken] == ["json://nora.invalid", "json://piet.invalid"]
    assert {m["state"] for m in alarms_document(site, alarms)["standing"][0]["messages"]} == {"sent"}


def test_one_who_refuses_is_tried_again_and_the_other_not(site: Site, alarms: Alarms) -> None:
    """A refusal is tried again after a growing wait; who has the message already is not told twice."""
    channel = Channel()
    channel.down = {"json://piet.invalid"}
    time = Time()
    sender = Sender(site, alarms, channel, time)
    alarms.update([dry()], START)
    sender.send_waiting()
    channel.down = set()
    time.now_ms += FIRST_WAIT_MS - 1
    sender.send_waiting()
    assert [a for a, _ in channel.taken] == ["json://nora.invalid"]
    time.now_ms += 1
    sender.send_waiting()
    assert [a for a, _ in channel.taken] == ["json://nora.invalid", "json://piet.invalid"]


def test_a_restart_sends_what_waits_and_nothing_twice(site: Site, alarms: Alarms, tmp_path: Path) -> None:
    """A message kept before a crash leaves after it, once."""
    channel = Channel()
    channel.down = {"json://nora.invalid", "json://piet.invalid"}
    alarms.update([dry()], START)
    time = Time()
    Sender(site, alarms, channel, time).send_waiting()
    alarms.close()
    channel.down = set()
    again = make_alarms(tmp_path)
    for _ in range(2):
        time.now_ms += FIRST_WAIT_MS
        Sender(site, again, channel, time).send_waiting()
    assert len(channel.taken) == 2
    log = (site.data_folder / "messages.log").read_text("utf-8").splitlines()
    assert len(log) == 1


def test_a_route_without_its_secret_is_told_on_the_alarm(
    site: Site, alarms: Alarms, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A missing environment variable is named where the alarm is shown; the message waits for it."""
    monkeypatch.delenv("MATURING_ROUTE_PHONE")
    channel = Channel()
    time = Time()
    sender = Sender(site, alarms, channel, time)
    alarms.update([dry()], START)
    sender.send_waiting()
    (phone,) = [m for m in alarms_document(site, alarms)["standing"][0]["messages"] if m["route"] == "phone"]
    assert phone["state"] == "waiting"
    assert "MATURING_ROUTE_PHONE" in phone["error"]
    monkeypatch.setenv("MATURING_ROUTE_PHONE", "json://nora.invalid")
    time.now_ms += 60_000
    sender.send_waiting()
    assert len(channel.taken) == 1


def test_an_address_of_no_known_kind_is_a_failure_not_a_crash(
    site: Site, alarms: Alarms, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An unknown scheme is told in words on the alarm, without the address, and the message waits for a better one."""
    monkeypatch.setenv("MATURING_ROUTE_PHONE", "pigeon://loft")
    alarms.update([dry()], START)
    Sender(site, alarms, clock=Time()).send_waiting()
    (phone,) = [m for m in alarms_document(site, alarms)["standing"][0]["messages"] if m["route"] == "phone"]
    assert (phone["state"], phone["attempts"]) == ("waiting", 0)
    assert "no kind of address is called 'pigeon'" in phone["error"]
    assert "loft" not in phone["error"]


def test_a_route_that_fails_is_named_until_it_sends(site: Site, alarms: Alarms) -> None:
    """What the monitor's health calls its channel: not well once messages waited two minutes, well after they left."""
    channel, time = Channel(), Time()
    channel.down = {"json://nora.invalid", "json://piet.invalid"}
    sender = Sender(site, alarms, channel, time)
    told = []
    for minute in range(12):
        time.now_ms = START + minute * 60_000
        if minute == 5:
            channel.down.clear()
        alarms.update([dry()], time.now_ms)
        sender.send_waiting("phone")
        told.append(alarms.failing_routes)
    assert told[1] == []
    assert told[4] == ["messages by route phone do not get out"]
    assert told[-1] == []


def test_an_end_that_was_overtaken_is_told_when_it_comes_after_all(site: Site, alarms: Alarms) -> None:
    """Told silent; its end could not be told before it was silent again, nor that before it had ended: told once over."""
    channel, time = Channel(), Time()
    sender = Sender(site, alarms, channel, time)
    silent = dry(rule="silence", aspect="", sensor="nv-1", what="Sensor nv-1 silent")

    def after(seconds: int, *findings: Finding) -> None:
        time.now_ms += 1000 * seconds
        alarms.update([replace(f, seen_ms=time.now_ms) for f in findings], time.now_ms)
        sender.send_waiting()

    after(0, silent)
    after(120, silent)
    channel.down = {"json://nora.invalid", "json://piet.invalid"}
    after(600)
    after(120)
    after(10, silent)
    after(10, silent)
    channel.down = set()
    after(10)
    for _ in range(3):
        after(600)
    assert ["over" in line.lower() for address, line in channel.taken if "nora" in address] == [False, True]


def test_what_could_not_leave_for_long_says_when_it_was_written(site: Site, alarms: Alarms) -> None:
    """Put into words at 03:04 and taken at 03:24: the text begins with its age, since its figures are of then."""
    texts: list[str] = []

    def take(recipient: Recipient, words: Words, key: Key, form: str) -> str:
        texts.append(words.text)
        return "" if len(texts) > 2 else "it is down"

    time = Time()
    sender = Sender(site, alarms, take, time)
    alarms.update([dry()], START)
    sender.send_waiting("phone")
    time.now_ms += 20 * 60_000
    sender.send_waiting("phone")
    assert "could not" not in texts[0]
    assert texts[-1].startswith("Written Sun 01 Mar 03:04; it could not be sent before now.")
