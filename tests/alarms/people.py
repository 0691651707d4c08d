"""People who carry a phone, for tests of who is told what and when."""

from __future__ import annotations

import html
from collections.abc import Callable
from typing import Any

from monitor.alarms import Alarms
from monitor.alarms.channels import Key, Recipient
from monitor.alarms.journal import Journal
from monitor.alarms.sender import Sender
from monitor.alarms.words import Words
from monitor.rules.finding import Finding
from monitor.site import AlarmSettings, Site
from monitor.site.alarm_settings import ByPriority
from tests.alarms.samples import MINUTE, START


class Person:
    """One who carries a phone: every line that reached it."""

    def __init__(self, site: Site, alarms: Alarms, name: str = "phone") -> None:
        self.alarms, self.name, self.now = alarms, name, START
        self.words: list[Words] = []
        self._sender = Sender(site, alarms, self._take, lambda: self.now)

    def _take(self, recipient: Recipient, words: Words, key: Key, form: str) -> str:
        self.words.append(words)
        return ""

    @property
    def heard(self) -> list[str]:
        """What stood above each message: whether to come, and where."""
        return [
            html.unescape(words.html.partition("<h1")[2].split(">", 1)[1].partition("</h1>")[0])
            for words in self.words
        ]

    def live(self, minutes: int, findings: list[Finding], step: int = 1) -> None:
        """Minutes pass while findings hold."""
        for _ in range(0, minutes, step):
            self.alarms.update(findings, self.now)
            self._sender.send_waiting(self.name)
            self.now += step * MINUTE


def with_settings(site: Site, **given: Any) -> Site:
    routes = given.pop("routes", site.routes)
    works = given.pop("planned_work", ())
    settings = {"remind_min": ByPriority(), "realarm_min": ByPriority(), **given}
    changed = {"routes": routes, "planned_work": works, "alarms": AlarmSettings(**settings)}
    return site.model_copy(update=changed).at(site.path)


Opened = Callable[..., tuple[Alarms, Person]]


def opener(journal: Journal, site: Site) -> Opened:
    def open_with(**given: Any) -> tuple[Alarms, Person]:
        changed = with_settings(site, **given)
        alarms = Alarms(journal, changed)
        return alarms, Person(changed, alarms)

    return open_with
