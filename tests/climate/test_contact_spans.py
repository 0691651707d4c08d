"""When a door stood open and a tank was low, as a chart over time marks it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from monitor.climate.contact_spans import contact_spans
from monitor.clock import rfc3339, to_ms
from monitor.records import Flag, Reading
from monitor.site import load
from monitor.store import Store, open_store
from tests.test_site import GOOD

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
DAY = timedelta(days=1)
MINUTE = 60_000


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    path = tmp_path / "site.toml"
    path.write_text(GOOD, encoding="utf-8")
    site = load(path)
    site.data_folder.mkdir(exist_ok=True)
    opened = open_store(site)
    yield opened
    opened.close()


def said(store: Store, *states: tuple[float, float], flag: Flag = Flag.PASS) -> None:
    """The door's states (minutes after six o'clock, 1 open or 0 shut) are taken in."""
    at = to_ms(START)
    store.write([Reading("door", "door_open", at + round(m * MINUTE), v, flag) for m, v in states])


def door(store: Store, length: timedelta = DAY, interval_s: float = 4 * 3600) -> dict[str, Any]:
    (found,) = contact_spans(store, [("door", "door_open", 3 * interval_s)], START, START + length)
    return found


def at(minutes: float) -> str | None:
    return rfc3339(START + timedelta(minutes=minutes))


def test_a_door_is_open_from_its_word_to_its_word(store: Store) -> None:
    """Opened at 06:40, said again at 06:50, shut at 07:06: 26 minutes, one time."""
    said(store, (-10, 0), (40, 1), (50, 1), (66, 0), (76, 0))
    found = door(store)
    assert found["spans"] == [{"from_at": at(40), "to_at": at(66), "times": 1, "on_s": 26 * 60.0}]
    assert (found["times"], found["on_s"], found["longest_s"], found["heard"]) == (1, 1560.0, 1560.0, True)


def test_what_held_at_the_start_counts_from_there(store: Store) -> None:
    """Opened the evening before and shut at 06:15: a quarter of an hour lies in the chart."""
    said(store, (-600, 1), (15, 0))
    assert door(store)["spans"] == [{"from_at": at(0), "to_at": at(15), "times": 1, "on_s": 900.0}]


def test_an_open_door_stays_open_until_its_contact_says_otherwise(store: Store) -> None:
    """Opened an hour before the end and not shut: it has no end, and an hour of it is counted."""
    said(store, (-10, 0), (23 * 60, 1))
    assert door(store)["spans"] == [{"from_at": at(23 * 60), "to_at": None, "times": 1, "on_s": 3600.0}]


def test_what_no_quality_test_passed_is_no_word_of_a_door(store: Store) -> None:
    """A state that failed, and half a state, open nothing."""
    said(store, (10, 0), (30, 0.5))
    said(store, (20, 1), flag=Flag.FAIL)
    assert door(store)["spans"] == []


def test_openings_too_near_to_be_drawn_apart_are_one(store: Store) -> None:
    """Five minutes shut between two openings are drawn in a day, and lost in a year; the minutes open stay the same."""
    said(store, (-10, 0), (60, 1), (64, 0), (69, 1), (79, 0))
    assert [s["times"] for s in door(store)["spans"]] == [1, 1]
    year = door(store, timedelta(days=365))
    assert year["spans"] == [{"from_at": at(60), "to_at": at(79), "times": 2, "on_s": 14 * 60.0}]
    assert (year["times"], year["longest_s"]) == (2, 600.0)


def test_a_busy_door_is_no_open_door(store: Store) -> None:
    """Ten minutes open every two hours for a year: at most 300 marks, none much longer than a step of 29 hours."""
    said(store, *((120 * n + m, v) for n in range(365 * 12) for m, v in ((0, 1), (10, 0))))
    found = door(store, timedelta(days=365))
    lengths = [
        datetime.fromisoformat(s["to_at"]) - datetime.fromisoformat(s["from_at"]) for s in found["spans"]
    ]
    assert 200 < len(lengths) <= 300
    assert max(lengths) <= timedelta(hours=30)
    assert sum(s["on_s"] for s in found["spans"]) == found["on_s"] == 365 * 12 * 600.0


def test_a_contact_that_said_nothing_is_not_heard(store: Store) -> None:
    """A day without a word is no shut door: the reader is told so."""
    found = door(store)
    assert (found["heard"], found["spans"], found["silent_s"]) == (False, [], 86_400.0)


def test_a_door_is_unknown_while_its_contact_is_silent(store: Store) -> None:
    """A word every ten minutes, the last one, open, at 06:40 and the next at 09:00: open till 07:10, then unknown."""
    said(store, (-10, 0), (0, 0), (10, 0), (20, 1), (30, 1), (40, 1), (180, 1), (190, 0))
    found = door(store, timedelta(minutes=200), interval_s=600)
    assert [(s["from_at"], s["to_at"]) for s in found["spans"]] == [(at(20), at(70)), (at(180), at(190))]
    assert found["silent"] == [{"from_at": at(70), "to_at": at(180), "times": 1, "on_s": 110 * 60.0}]


def test_a_contact_silent_to_the_end_leaves_no_door_open(store: Store) -> None:
    """Open at 06:10 and never heard again, a word expected every ten minutes: open for 30 minutes, unknown since 06:40."""
    said(store, (-10, 0), (0, 0), (10, 1))
    found = door(store, interval_s=600)
    assert [(s["from_at"], s["to_at"]) for s in found["spans"]] == [(at(10), at(40))]
    assert [(s["from_at"], s["to_at"]) for s in found["silent"]] == [(at(40), None)]


def test_what_was_said_too_long_before_the_start_holds_no_more(store: Store) -> None:
    """Open at 05:20 with a word every ten minutes: at six nothing is known of it."""
    said(store, (-40, 1))
    found = door(store, interval_s=600)
    assert (found["heard"], found["spans"], found["silent_s"]) == (False, [], 86_400.0)
