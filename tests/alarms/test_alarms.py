"""Findings become alarms: raised once, acknowledged, over; the journal remembers everything."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa

from monitor.alarms import Alarms, alarms_document, open_alarms
from monitor.alarms import journal as tables
from monitor.alarms.append_only import KEPT
from monitor.alarms.journal import rebuilt
from monitor.alarms.lifecycle import State
from monitor.alarms.sender import Sender
from monitor.errors import AlarmError
from monitor.rules.finding import Priority
from monitor.site import Site
from tests.alarms.samples import MINUTE, START, dry, make_alarms, make_site


@pytest.fixture
def alarms(tmp_path: Path) -> Alarms:
    return make_alarms(tmp_path)


def leave(alarms: Alarms, folder: Path, moment: int) -> None:
    """Let every message that is due leave."""
    Sender(make_site(folder), alarms, lambda *_: "", lambda: moment).send_waiting()


def messages(alarms: Alarms) -> list[tuple[str, str]]:
    with alarms.journal.reading() as connection:
        rows = connection.execute(sa.select(tables.messages).order_by(tables.messages.c.id)).mappings()
        return [(row["route"], row["about"]) for row in rows]


def test_a_finding_that_lasts_is_one_alarm_and_one_message_a_route(alarms: Alarms) -> None:
    """The same finding in a hundred updates raises one alarm, with one message to the phone and one to the log."""
    for minute in range(100):
        alarms.update([dry()], START + minute * MINUTE)
    (alarm,) = alarms.standing()
    assert alarm.state is State.UNACKNOWLEDGED
    assert alarm.raised_ms == START
    assert messages(alarms) == [("", "raised"), ("phone", "raised")]


def test_two_conditions_are_two_alarms(alarms: Alarms) -> None:
    """Too dry and too warm at once stand beside each other, the more pressing first."""
    alarms.update([dry(), dry(Priority.HIGH, aspect="temperature-high", what="Too warm")], START)
    assert [a.priority for a in alarms.standing()] == [Priority.HIGH, Priority.MEDIUM]


@pytest.fixture(autouse=True)
def address(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MATURING_ROUTE_PHONE", "json://nora.invalid")


def test_acknowledged_and_back_in_its_band_it_is_over(alarms: Alarms, tmp_path: Path) -> None:
    """After acknowledgement the return ends the alarm; who did it and the note stay with it."""
    alarms.update([dry()], START)
    leave(alarms, tmp_path, START)
    alarms.acknowledge(1, "Nora", "humidifier refilled", START + MINUTE)
    alarms.update([], START + 30 * MINUTE)
    assert alarms.standing() == []
    (ended,) = alarms.recent()
    assert (ended.acknowledged_by, ended.note) == ("Nora", "humidifier refilled")
    assert ended.ended_ms == START + 30 * MINUTE
    assert messages(alarms)[2:] == [("", "over"), ("phone", "over")]


def test_back_before_anyone_looked_it_waits_to_be_seen(alarms: Alarms) -> None:
    """A condition that returned unacknowledged still stands until a person has seen it, and then ends."""
    alarms.update([dry()], START)
    alarms.update([], START + 20 * MINUTE)
    assert [a.state for a in alarms.standing()] == [State.RETURNED]
    assert alarms.acknowledge(1, "Nora", now_ms=START + 30 * MINUTE).state is State.NORMAL
    assert alarms.standing() == []


def test_it_comes_back_as_the_same_alarm_where_nobody_had_seen_it(alarms: Alarms, tmp_path: Path) -> None:
    """A recurrence before acknowledgement raises the alarm again rather than a second one, with a new message."""
    for moment, findings in ((0, [dry()]), (20, []), (40, [dry()])):
        alarms.update(findings, START + moment * MINUTE)
        leave(alarms, tmp_path, START + (moment + 5) * MINUTE)
    (alarm,) = alarms.standing()
    assert alarm.id == 1
    assert alarm.state is State.UNACKNOWLEDGED
    assert [about for route, about in messages(alarms) if route == "phone"] == ["raised", "over", "raised"]


def test_nobody_acknowledges_twice_or_without_a_name(alarms: Alarms) -> None:
    """A second acknowledgement, one without a name, and one of an alarm that is not there are refused in words."""
    alarms.update([dry()], START)
    with pytest.raises(AlarmError, match="say who you are"):
        alarms.acknowledge(1, "  ")
    alarms.acknowledge(1, "Nora")
    with pytest.raises(AlarmError, match="acknowledged"):
        alarms.acknowledge(1, "Piet")
    with pytest.raises(AlarmError, match="no alarm 99"):
        alarms.acknowledge(99, "Nora")


def test_a_shelved_alarm_is_quiet_and_comes_back_by_itself(alarms: Alarms, tmp_path: Path) -> None:
    """Shelved for the washing day it makes no message; at its end it stands again where it still holds."""
    alarms.update([dry()], START)
    leave(alarms, tmp_path, START)
    alarms.shelve(1, "Nora", START + 240 * MINUTE, "washing day", START + MINUTE)
    alarms.update([dry()], START + 60 * MINUTE)
    assert [a.state for a in alarms.standing()] == [State.SHELVED]
    assert len(messages(alarms)) == 2
    alarms.update([dry()], START + 241 * MINUTE)
    assert [a.state for a in alarms.standing()] == [State.UNACKNOWLEDGED]
    assert len(messages(alarms)) == 4
    with pytest.raises(AlarmError, match="to come"):
        alarms.shelve(1, "Nora", START, now_ms=START + MINUTE)


def test_a_restart_goes_on_with_what_stands(alarms: Alarms, tmp_path: Path) -> None:
    """A new process on the same journal neither loses nor doubles the alarm."""
    alarms.update([dry()], START)
    alarms.close()
    again = make_alarms(tmp_path)
    again.update([dry()], START + MINUTE)
    assert [a.id for a in again.standing()] == [1]
    assert len(messages(again)) == 2


def test_two_processes_raise_one_alarm(alarms: Alarms, tmp_path: Path) -> None:
    """Two monitors that see the same finding at once make one alarm."""
    other = make_alarms(tmp_path)
    alarms.update([dry()], START)
    other.update([dry()], START)
    assert len(other.standing()) == 1


def test_the_alarms_can_be_made_again_from_the_journal(alarms: Alarms) -> None:
    """Every row of the view follows from the transitions alone."""
    alarms.update([dry()], START)
    alarms.acknowledge(1, "Nora", "looked", START + MINUTE)
    alarms.update([dry(wheels=40)], START + 2 * MINUTE)
    alarms.update([], START + 3 * MINUTE)
    alarms.update([dry()], START + 4 * MINUTE)
    with alarms.journal.reading() as connection:
        kept = [
            dict(r)
            for r in connection.execute(sa.select(tables.alarms).order_by(tables.alarms.c.id)).mappings()
        ]
        made = rebuilt(connection)
    assert [{k: row[k] for k in sorted(row)} for row in made] == [
        {k: row[k] for k in sorted(row)} for row in kept
    ]


@pytest.mark.parametrize("table", KEPT)
def test_nothing_in_the_journal_can_be_changed_or_removed(
    alarms_of_both: Alarms, site: Site, table: str
) -> None:
    """The database itself refuses an UPDATE and a DELETE, whoever asks: what was raised and told stays so."""
    alarms_of_both.update([dry()], START + 60 * MINUTE)
    alarms_of_both.update([dry()], START)
    work = alarms_of_both.plan_work("vault", "washing", START + 60 * MINUTE, "Piet", now_ms=START)
    alarms_of_both.end_work(work, "Piet", START + MINUTE)
    Sender(site, alarms_of_both, lambda *_: "", lambda: START).send_waiting("phone")
    column = "alarm_id" if table == "message_alarms" else next(iter(tables.metadata.tables[table].c.keys()))
    for statement in (f"UPDATE {table} SET {column} = {column}", f"DELETE FROM {table}"):
        with (
            pytest.raises(sa.exc.DBAPIError, match="only added to"),
            alarms_of_both.journal.transaction() as connection,
        ):
            connection.execute(sa.text(statement))


def test_a_route_for_pressing_alarms_is_left_alone_by_lesser_ones(tmp_path: Path) -> None:
    """A route whose least priority is high gets no message about a medium one."""
    site = make_site(tmp_path)
    route = site.routes[0].model_copy(update={"least_priority": "high"})
    alarms = open_alarms(site.model_copy(update={"routes": (route,)}).at(site.path))
    alarms.update([dry(Priority.MEDIUM)], START)
    assert messages(alarms) == [("", "raised")]
    alarms.update([dry(Priority.MEDIUM), dry(Priority.CRITICAL, aspect="freezing")], START)
    assert messages(alarms)[1:] == [("", "raised"), ("phone", "raised")]


def test_the_document_has_what_the_page_needs(alarms: Alarms, tmp_path: Path) -> None:
    """The document names room and wheels, and says that the phone has not been told yet."""
    alarms.update([dry()], START)
    (shown,) = alarms_document(make_site(tmp_path), alarms, START)["standing"]
    assert shown["state"] == "unacknowledged"
    assert shown["room_name"] == "North vault"
    assert len(shown["wheels"]) == 41
    assert shown["since_at"] == "2026-03-01T03:04:00Z"
    assert {m["route"]: m["state"] for m in shown["messages"]} == {"local log": "waiting", "phone": "waiting"}
