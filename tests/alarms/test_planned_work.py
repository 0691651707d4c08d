"""Planned work: what it keeps quiet by design, until when, and what it never does."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.alarms.lifecycle import State
from monitor.clock import parse_rfc3339, to_ms
from monitor.errors import AlarmError
from monitor.rules.finding import Priority
from monitor.site import PlannedWork
from tests.alarms.people import Opened
from tests.alarms.samples import MINUTE, START, dry

HOUR = 60 * MINUTE


def test_washing_keeps_the_air_quiet_and_what_stands_after_alarms(opened_on_both: Opened) -> None:
    """During washing the air makes no message, a silent sensor does; at its end what still stands alarms."""
    alarms, nora = opened_on_both()
    alarms.plan_work("vault", "washing", START + 60 * MINUTE, "Piet", now_ms=START)
    silent = replace(dry(), rule="silence", aspect="", sensor="nv-1", what="Sensor nv-1 silent")
    nora.live(30, [dry(), silent])
    assert [a.state for a in alarms.standing()] == [State.SUPPRESSED, State.UNACKNOWLEDGED]
    assert len(nora.heard) == 1
    assert "nv-1" in nora.words[0].text
    nora.live(29, [dry()])
    assert nora.heard == ["Needs you: North vault", "Over: North vault"]
    nora.live(5, [dry()])
    assert nora.heard[2:] == ["Needs you: North vault"]
    assert "Humidity 74.2 %" in nora.words[2].text


def test_work_that_is_over_early_is_over(opened_on_both: Opened) -> None:
    """Ended by hand, washing keeps nothing quiet any more; it cannot be ended twice."""
    alarms, nora = opened_on_both()
    work = alarms.plan_work("vault", "washing", START + 60 * MINUTE, "Piet", now_ms=START)
    nora.live(10, [dry()])
    alarms.end_work(work, "Piet", nora.now)
    nora.live(5, [dry()])
    assert nora.heard == ["Needs you: North vault"]
    with pytest.raises(AlarmError, match="over by now"):
        alarms.end_work(work, "Piet", nora.now)


def test_nothing_critical_is_kept_quiet_by_work(opened: Opened) -> None:
    """Gas and frost alarm through a washing day."""
    alarms, nora = opened()
    alarms.plan_work("vault", "washing", START + 60 * MINUTE, "Piet", now_ms=START)
    nora.live(5, [dry(Priority.CRITICAL, aspect="freezing"), dry(rule="gases", aspect="carbon_dioxide")])
    assert sorted(a.state for a in alarms.standing()) == [State.UNACKNOWLEDGED] * 2


@pytest.mark.parametrize(
    ("room", "kind", "minutes", "words"),
    [
        ("nowhere", "washing", 60, "no room 'nowhere'; there are: vault"),
        ("vault", "party", 60, "one of washing"),
        ("vault", "washing", -5, "in time to come"),
        ("vault", "washing", 60 * 24 * 20, "two weeks"),
    ],
)
def test_work_that_cannot_be_is_refused(
    opened: Opened, room: str, kind: str, minutes: int, words: str
) -> None:
    """An unknown room or kind, an end in the past, and work without end are refused in words."""
    alarms, _ = opened()
    with pytest.raises(AlarmError, match=words):
        alarms.plan_work(room, kind, START + minutes * MINUTE, "Piet", now_ms=START)


@pytest.mark.parametrize(
    ("night", "from_at", "until_at"),
    [
        ("2026-03-29", "2026-03-28T23:30:00Z", "2026-03-29T02:00:00Z"),
        ("2026-10-25", "2026-10-24T22:30:00Z", "2026-10-25T03:00:00Z"),
        ("2026-06-07", "2026-06-06T22:30:00Z", "2026-06-07T02:00:00Z"),
    ],
)
def test_work_of_the_site_file_keeps_local_time(
    opened: Opened, night: str, from_at: str, until_at: str
) -> None:
    """Saturday 23:30 to 03:00 in Dublin is that by the clock on the wall, in the nights the clock is set too."""
    rule = PlannedWork(room="vault", kind="defrost", days=("sat",), begin="23:30", end="03:00")  # type: ignore[arg-type]
    alarms, _ = opened(planned_work=(rule,))
    noon = to_ms(parse_rfc3339(f"{night}T12:00:00Z"))
    (work,) = alarms.works(noon - 24 * HOUR, noon)
    assert (work.from_ms, work.until_ms) == tuple(to_ms(parse_rfc3339(t)) for t in (from_at, until_at))
