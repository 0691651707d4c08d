"""The life cycle against a model of it, with crashes between any two writes: no alarm lost, none doubled."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from monitor.alarms import journal as tables
from monitor.alarms import open_alarms
from monitor.alarms.channels import Key, Recipient
from monitor.alarms.journal import rebuilt
from monitor.alarms.lifecycle import QUIET
from monitor.alarms.sender import LONGEST_WAIT_MS, Sender
from monitor.alarms.words import Words
from monitor.errors import AlarmError
from monitor.rules.finding import Finding, Priority
from monitor.site import AlarmSettings, Route
from monitor.site.alarm_settings import ByPriority
from tests.alarms.last_told import told_is_true
from tests.alarms.samples import MINUTE, START, dry, make_site

FINDINGS: dict[str, Finding] = {
    "dry": dry(cause="air:vault"),
    "warm": dry(Priority.HIGH, aspect="temperature-high", what="Too warm", cause="air:vault"),
    "fast": dry(rule="drying_pace", aspect="fast", what="Drying fast", cause="air:vault"),
    "silent": dry(rule="silence", aspect="", sensor="nv-1", what="Sensor nv-1 silent"),
    "broker": dry(rule="monitor", room="", style="", aspect="broker", wheels=0, what="No connection"),
}
WASHED = ("dry", "warm", "fast")
"""What washing keeps quiet; a silent sensor and the monitor's own parts still alarm."""
names = st.sampled_from(sorted(FINDINGS))


class Crash(Exception):
    """The process dies here."""


class LifeCycle(RuleBasedStateMachine):
    """Holds a model of each condition (is it there, and in which state is its alarm) beside the real journal."""

    def __init__(self) -> None:
        super().__init__()
        for route, kind in (("PHONE", "mailto"), ("DESK", "mailtos")):
            os.environ[f"MATURING_ROUTE_{route}"] = (
                f"{kind}://m.invalid?from=a@b.example&to=nora@home.example"
            )
        self.folder = Path(tempfile.mkdtemp(prefix="alarms-"))
        site = make_site(self.folder)
        desk = Route(name="desk", address_env="MATURING_ROUTE_DESK", least_priority="high")
        own = {"alarms": AlarmSettings(hold_s=60, realarm_min=ByPriority()), "routes": (*site.routes, desk)}
        self.site = site.model_copy(update=own).at(site.path)
        self.now = START
        self.held: set[str] = set()
        self.state: dict[str, str] = {}
        self.active: dict[str, bool] = {}
        self.work: int | None = None
        self.work_begins = 0
        self.looked_at = set[int]()
        self.raises: Counter[str] = Counter()
        self.down = set[str]()
        self.delivered: list[tuple[str, str]] = []
        self.countdown: int | None = None
        self.open()

    def open(self) -> None:
        """Open the journal as a new process does."""
        self.alarms = open_alarms(self.site)
        sa.event.listen(self.alarms.journal.engine, "before_cursor_execute", self._before)
        sa.event.listen(self.alarms.journal.engine, "commit", lambda _: self._tick())
        self.sender = Sender(self.site, self.alarms, self._channel, lambda: self.now)

    def _before(self, _c: Any, _k: Any, statement: str, *_: Any) -> None:
        if statement.startswith(("INSERT", "UPDATE", "DELETE")):
            self._tick()

    def _tick(self) -> None:
        if self.countdown is not None:
            self.countdown -= 1
            if self.countdown < 0:
                self.countdown = None
                raise Crash

    def _channel(self, recipient: Recipient, words: Words, key: Key, form: str) -> str:
        self._tick()
        if recipient.address.partition(":")[0] in self.down:
            return "it is down"
        self.delivered.append((key.message, words.title))
        self._tick()
        return ""

    def through_crashes(self, action: Callable[[], Any], crash: int | None) -> None:
        """Do something; where the process dies in it, start anew and do it again, as a service or a person would."""
        self.countdown = crash
        try:
            action()
        except Crash:
            self.alarms.close()
            self.open()
            action()
        finally:
            self.countdown = None

    crashes = st.none() | st.integers(0, 12)

    @rule(name=names, minutes=st.integers(0, 90), crash=crashes)
    def toggles(self, name: str, minutes: int, crash: int | None) -> None:
        """A condition comes or goes."""
        self.now += minutes * MINUTE
        self.held ^= {name}
        self.update(crash)

    @rule(minutes=st.integers(0, 600), crash=crashes)
    def goes_on(self, minutes: int, crash: int | None) -> None:
        """Time passes."""
        self.now += minutes * MINUTE
        self.update(crash)

    @precondition(lambda self: self.work is None or self.now - 60 * MINUTE >= self.work_begins)
    @rule(crash=crashes)
    def clock_set_back(self, crash: int | None) -> None:
        """Somebody sets the clock back an hour."""
        self.now -= 60 * MINUTE
        self.update(crash)

    def update(self, crash: int | None) -> None:
        """Two ticks of the service, as the model has them: a change of a quiet alarm is seen before it comes back."""
        findings = [replace(FINDINGS[name], seen_ms=self.now) for name in sorted(self.held)]
        for number in range(2):
            for name in FINDINGS:
                self._model_tick(name)
            self.through_crashes(lambda: self.alarms.update(findings, self.now), None if number else crash)
            for name in FINDINGS:
                self._answered_with_another(name)

    def _answered_with_another(self, name: str) -> None:
        """What only adds to what Nora was told and has answered is answered with it; all else she is told, or reminded of.

        It adds to an alarm of its cause that stands, answered, no less pressing, in a message that left, when it is raised:
        what is answered later does not answer what came before.  What is high or critical is told all the same.
        """
        if self.state.get(name) != "unacknowledged":
            return
        number = self._id(name)
        assert number is not None
        steps, beside = self.alarms.history(number), self._told_with(number)
        all_answered = bool(beside) and all(
            self.state[other] == "acknowledged" and self.active[other] for other in beside
        )
        if steps[-1]["event"] == "answered with another":
            other = self._named_in(steps[-1]["note"])
            assert (self.state[other], self.active[other]) == ("acknowledged", True)
            assert FINDINGS[other].cause == FINDINGS[name].cause
            assert FINDINGS[other].priority >= FINDINGS[name].priority
            assert FINDINGS[name].priority < Priority.HIGH
            assert steps[-1]["person"] == "Nora"
            self.state[name] = "acknowledged"
        elif len(steps) == 1 and steps[0]["id"] not in self.looked_at:
            assert not all_answered, f"{name} only adds to {beside}, which Nora has answered"
        self.looked_at.add(steps[-1]["id"])

    def _named_in(self, note: str) -> str:
        """The condition of the alarm that a note names by its number."""
        (number,) = re.findall(r"\d+", note)
        key = self.alarms.alarm(int(number)).key
        return next(name for name, finding in FINDINGS.items() if finding.key == key)

    def _told_with(self, number: int) -> list[str]:
        """Of a new alarm that no message tells, the conditions that stand and are told by the message that it joined."""
        link, item, message = tables.message_alarms.c, tables.news.c, tables.messages.c
        own = sa.select(item.message_id).where(item.alarm_id == number)
        joined = (
            sa.select(link.message_id)
            .join(tables.messages, message.id == link.message_id)
            .where(link.alarm_id == number, message.route == "phone", ~own.exists())
        )
        query = sa.select(link.alarm_id).where(link.message_id.in_(joined), link.alarm_id != number)
        with self.alarms.journal.reading() as connection:
            ids = set(connection.execute(query).scalars())
        keys = {a.key for a in self.alarms.standing() if a.id in ids and a.active and a.state not in QUIET}
        return [name for name, finding in FINDINGS.items() if finding.key in keys]

    def _model_tick(self, name: str) -> None:
        state, there, active = self.state.get(name, ""), name in self.held, self.active.get(name, False)
        quiet = self.work is not None and name in WASHED
        if not state:
            if there:
                self._becomes(name, "suppressed-by-design" if quiet else "unacknowledged", True)
        elif active and not there:
            gone = {"unacknowledged": "returned-unacknowledged", "acknowledged": ""}
            self._becomes(name, gone.get(state, state), False)
        elif there and not active:
            if state in ("shelved", "suppressed-by-design"):
                self.active[name] = True
            elif not quiet:
                self._becomes(name, "unacknowledged", True)
        elif state == "suppressed-by-design" and not quiet:
            self._becomes(name, "unacknowledged" if active else "", active)
        elif there and quiet and state in ("unacknowledged", "acknowledged"):
            self._becomes(name, "suppressed-by-design", True)

    def _becomes(self, name: str, state: str, active: bool) -> None:
        if state == "unacknowledged":
            self.raises[FINDINGS[name].key] += 1
        self.state[name], self.active[name] = state, active

    def _id(self, name: str) -> int | None:
        return next((a.id for a in self.alarms.standing() if a.key == FINDINGS[name].key), None)

    @rule(name=names, crash=crashes)
    def acknowledged(self, name: str, crash: int | None) -> None:
        """Nora says that she has seen it; where there is nothing to acknowledge she is refused."""
        number, state = self._id(name), self.state.get(name)
        if state in ("unacknowledged", "returned-unacknowledged"):
            self.state[name] = "acknowledged" if state == "unacknowledged" else ""
            self._by_person(lambda: self.alarms.acknowledge(number or 0, "Nora", now_ms=self.now), crash)
        else:
            try:
                self.alarms.acknowledge(number or 0, "Nora", now_ms=self.now)
                raise AssertionError(f"an alarm that is {state} was acknowledged")
            except AlarmError:
                pass

    def _by_person(self, action: Callable[[], Any], crash: int | None) -> None:
        """A person whose click was lost clicks again, and is told where it had been taken after all."""

        def tolerant() -> None:
            try:
                action()
            except AlarmError:
                assert crash is not None

        self.through_crashes(tolerant, crash)

    @precondition(lambda self: any(s in ("unacknowledged", "acknowledged") for s in self.state.values()))
    @rule(data=st.data(), crash=crashes)
    def put_aside(self, data: st.DataObject, crash: int | None) -> None:
        """Nora shelves an alarm without knowing for how long: for a year."""
        name = data.draw(
            st.sampled_from(
                sorted(n for n, s in self.state.items() if s in ("unacknowledged", "acknowledged"))
            )
        )
        self.state[name], number = "shelved", self._id(name)
        until = self.now + 500_000 * MINUTE
        self._by_person(lambda: self.alarms.shelve(number or 0, "Nora", until, now_ms=self.now), crash)

    @precondition(lambda self: "shelved" in self.state.values())
    @rule(data=st.data(), crash=crashes)
    def brought_back(self, data: st.DataObject, crash: int | None) -> None:
        """Nora brings a shelved alarm back: it stands or is over by its condition."""
        name = data.draw(st.sampled_from(sorted(n for n, s in self.state.items() if s == "shelved")))
        number = self._id(name)
        self._becomes(name, "unacknowledged" if self.active[name] else "", self.active[name])
        self._by_person(lambda: self.alarms.unshelve(number or 0, "Nora", now_ms=self.now), crash)
        self._answered_with_another(name)

    @precondition(lambda self: self.work is None)
    @rule()
    def washing_begins(self) -> None:
        """The room is washed, for longer than the clock is ever set back."""
        self.work_begins = self.now - 300 * MINUTE
        self.work = self.alarms.plan_work(
            "vault", "washing", self.now + 18_000 * MINUTE, "Piet", "", self.work_begins, self.now
        )
        self.update(None)

    @precondition(lambda self: self.work is not None)
    @rule(crash=crashes)
    def washing_ends(self, crash: int | None) -> None:
        """Washing is over before its planned end."""
        number, self.work = self.work, None
        assert number is not None
        self._by_person(lambda: self.alarms.end_work(number, "Piet", self.now), crash)
        self.update(None)

    @rule(crash=crashes)
    def messages_leave(self, crash: int | None) -> None:
        """The sender comes round until every wait is over; what Nora was told last is then what is true."""
        for number in range(3):
            self.now += LONGEST_WAIT_MS
            self.update(None)
            self.through_crashes(self.sender.send_waiting, None if number else crash)
        if "mailto" not in self.down:
            told_is_true(self.alarms.journal)

    @rule(name=names, crash=crashes)
    def comes_and_goes(self, name: str, crash: int | None) -> None:
        """A condition comes, goes and comes, with time enough to tell of each."""
        for _ in range(3):
            self.toggles(name, 0, None)
            self.messages_leave(crash)

    @rule(first=st.sampled_from(["dry", "warm"]), second=st.sampled_from(WASHED), crash=crashes)
    def another_comes_after_an_answer(self, first: str, second: str, crash: int | None) -> None:
        """A condition is told and answered, then another of the same air comes."""
        if first not in self.held:
            self.toggles(first, 0, None)
        self.messages_leave(None)
        if self.state.get(first) == "unacknowledged":
            self.acknowledged(first, None)
        if second not in self.held:
            self.toggles(second, 0, crash)
        self.messages_leave(None)

    @rule(down=st.sets(st.sampled_from(["mailto", "mailtos"])))
    def channel(self, down: set[str]) -> None:
        """Nora's one mailbox is reached by two servers, one for what is pressing: each breaks, or is mended."""
        self.down = down

    @rule()
    def restart(self) -> None:
        """The process is ended and started."""
        self.alarms.close()
        self.open()

    @invariant()
    def standing_is_as_the_model_says(self) -> None:
        """The same alarms stand, in the same states."""
        real = {a.key: str(a.state) for a in self.alarms.standing() if "route-" not in a.key}
        assert real == {FINDINGS[n].key: s for n, s in self.state.items() if s}

    @invariant()
    def the_view_follows_from_the_journal(self) -> None:
        """The table of alarms is what the transitions alone make."""
        with self.alarms.journal.reading() as connection:
            query = sa.select(tables.alarms).order_by(tables.alarms.c.id)
            kept = [dict(row) for row in connection.execute(query).mappings()]
            assert rebuilt(connection) == kept

    @invariant()
    def every_raise_was_told_once(self) -> None:
        """The log has one message for each time that an alarm was raised: none lost, none doubled."""
        message, link, alarm = tables.messages.c, tables.message_alarms.c, tables.alarms.c
        query = (
            sa.select(alarm.key)
            .join(tables.message_alarms, link.alarm_id == alarm.id)
            .join(tables.messages, message.id == link.message_id)
            .where(message.route == "", message.about == "raised", alarm.key.not_like("%route-%"))
        )
        with self.alarms.journal.reading() as connection:
            assert Counter(connection.execute(query).scalars()) == +self.raises

    @invariant()
    def nothing_is_told_by_both_routes(self) -> None:
        """What Nora's mailbox took by one route tells something that it had not taken by the other before."""
        message, attempt, item = tables.messages.c, tables.attempts.c, tables.news.c
        sent = (
            sa.select(message.id, message.route, attempt.outcome)
            .join(tables.messages, message.id == attempt.message_id)
            .where(message.route != "", attempt.outcome.in_(("sent", "told")))
            .order_by(attempt.id)
        )
        with self.alarms.journal.reading() as connection:
            names: dict[int, set[str]] = {}
            for row in connection.execute(sa.select(item.message_id, item.name)):
                names.setdefault(row.message_id, set()).add(row.name)
            known: dict[str, set[str]] = {"phone": set(), "desk": set()}
            for number, route, outcome in connection.execute(sent):
                other = known["desk" if route == "phone" else "phone"]
                if outcome == "sent":
                    assert not names[number] <= other
                    known[route] |= names[number]
                else:
                    assert names[number] & other

    def teardown(self) -> None:
        """In the end, with the channel mended, what Nora was told last is what is true."""
        self.down = set()
        self.messages_leave(None)
        self.alarms.close()
        shutil.rmtree(self.folder, ignore_errors=True)


TestLifeCycle = LifeCycle.TestCase
TestLifeCycle.settings = settings(
    max_examples=int(os.environ.get("MATURING_LIFE_CYCLE_EXAMPLES", "12")),
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    # A failure is shown as found: with a real database, shortening it takes longer than reading it.
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
)
