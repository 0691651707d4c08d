"""The strips under a room's charts that mark when its door stood open and its tank was low."""

from __future__ import annotations

import html
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dashboard.contact_strips import lasting, marked, rows, strips
from dashboard.course import picture_of
from dashboard.source import Source
from monitor.clock import rfc3339
from monitor.site import load
from tests.dashboard import samples

DUBLIN = ZoneInfo("Europe/Dublin")
START = datetime(2026, 3, 2, tzinfo=UTC)
END = START + timedelta(days=1)


def contact(*spans: tuple[float, float | None], quantity: str = "door_open", **said: Any) -> dict[str, Any]:
    """What a contact said, from spans in hours after midnight; None where one still lasts."""
    lengths = [3600 * ((24 if until is None else until) - begin) for begin, until in spans]
    written = [
        {
            "from_at": rfc3339(START + timedelta(hours=begin)),
            "to_at": None if until is None else rfc3339(START + timedelta(hours=until)),
            "times": 1,
            "on_s": length,
        }
        for (begin, until), length in zip(spans, lengths, strict=True)
    ]
    known = {"sensor": "north-door", "quantity": quantity, "heard": True, "times": len(spans)}
    summed = {"on_s": sum(lengths), "longest_s": max(lengths, default=0.0), "spans": written}
    summed |= {"silent": [], "silent_s": 0.0}
    return known | summed | said


def drawn(*contacts: dict[str, Any]) -> str:
    return html.unescape(strips(contacts, START, END, DUBLIN)).replace("\u00a0", " ")


def test_a_span_lies_where_it_was_and_says_so_on_the_pointer() -> None:
    """Open from six o'clock for twelve hours: from a quarter of the day, half a day wide, with its times and length."""
    shown = drawn(contact((6, 18)))
    assert (
        'style="left:25.00%;width:50.00%;height:100%" title="door open from yesterday 06:00 to yesterday 18:00: 12'
        in shown
    )
    assert "1 time, 12.0 h" in shown


def test_a_door_still_open_has_no_end() -> None:
    """Open since 23:00 at midnight: the mark reaches the edge, and no end is made up."""
    shown = drawn(contact((23, None)))
    assert "left:95.83%;width:4.17%" in shown
    assert "door open since yesterday 23:00: 60 min" in shown
    assert " to " not in shown


def test_a_minute_is_wide_enough_to_be_seen_and_stays_inside() -> None:
    """A minute of a day is 0.07 % of its strip; it is drawn 0.3 % wide, and at the very end not beyond it."""
    places = re.findall(
        r"left:([\d.]+)%;width:([\d.]+)%", drawn(contact((12, 12 + 1 / 60), (24 - 1 / 60, None)))
    )
    assert [width for _, width in places] == ["0.30", "0.30"]
    assert all(float(left) + float(width) <= 100 for left, width in places)


def test_words_sum_up_for_those_who_do_not_point() -> None:
    """Three openings of 20, 30 and 70 minutes, and a tank that was never low."""
    door, tank = contact((1, 1 + 1 / 3), (5, 5.5), (9, 9 + 7 / 6)), contact(quantity="water_low")
    shown = drawn(door, tank)
    assert 'aria-label="door open: 3 times, 2.0 h in all, 70 min at the longest"' in shown
    assert 'aria-label="tank low: not once in this span"' in shown
    assert "not heard from in this span" in drawn(contact(heard=False))


def test_marks_too_near_to_each_other_say_how_many_they_are() -> None:
    """Two openings of 14 minutes in an hour's mark: it is 23 % tall, and says how often and how long in all."""
    one = contact((6, 7), times=2)
    one["spans"][0] |= {"times": 2, "on_s": 840.0}
    shown = drawn(one)
    assert "height:23%" in shown
    assert "door open 2 times from yesterday 06:00 to yesterday 07:00: 14 min in all" in shown


def silent(begin: float, until: float) -> dict[str, Any]:
    """That nothing was heard of a contact from one hour after midnight to another."""
    found = contact((begin, until))
    return {"silent": found["spans"], "silent_s": found["on_s"]}


def test_what_is_unknown_is_marked_as_such_and_said() -> None:
    """Open for an hour at six, silent from noon to six: a mark of its own, a quarter of the day wide, with its words."""
    shown = drawn(contact((6, 7), **silent(12, 18)))
    assert (
        'left:50.00%;width:25.00%;height:100%" title="silent from yesterday 12:00 to yesterday 18:00: 6.0'
        in shown
    )
    assert 'aria-label="door open: 1 time, 60 min; not heard from for 6.0 h"' in shown


def test_the_figures_to_take_along_tell_each_span() -> None:
    """Silent from two to three, open from six to seven: two rows in order of time."""
    found = rows([contact((6, 7), **silent(2, 3))])
    assert [(r["state"], r["from_at"][11:16], r["to_at"][11:16], r["lasted_s"]) for r in found] == [
        ("silent", "02:00", "03:00", 3600.0),
        ("on", "06:00", "07:00", 3600.0),
    ]


def test_two_doors_of_a_room_are_told_apart_by_their_contacts() -> None:
    """With one door its contact's name is no news; with two it is."""
    assert "north-door" not in drawn(contact((6, 7)))
    assert "south-door" in drawn(contact((6, 7)), contact((8, 9), sensor="south-door"))


def test_the_picture_to_take_along_has_the_strips_too() -> None:
    """Half a day open is half of the strip's 1,100 px, with the same words above it."""
    door = contact((6, 18))
    picture = picture_of("North vault", [], START, END, DUBLIN, marked([door], START, END)).replace(
        "\u00a0", " "
    )
    assert '<rect x="355.0" y="80.0" width="550.0" height="18.0"' in picture
    assert "door open: 1 time, 12.0 h</text>" in picture


def test_only_a_room_with_contacts_has_strips() -> None:
    """The sample's north vault has a door and a tank, the lower vault neither."""
    site = load(Path(__file__).with_name("sample_site.toml"))
    source = Source(site, samples)  # type: ignore[arg-type]
    north, lower = (source.contacts(room, 7).document for room in ("north", "lower"))
    assert north is not None
    assert lower is not None
    assert [c["quantity"] for c in north["contacts"]] == ["door_open", "water_low"]
    assert north["contacts"][0]["times"] > 20
    assert lower["contacts"] == []
    assert strips(lower["contacts"], START, END, DUBLIN) == ""


@pytest.mark.parametrize(
    ("seconds", "words"), [(40, "40 s"), (1560, "26 min"), (9120, "2.5 h"), (345_600, "4 days")]
)
def test_a_length_is_said_in_the_unit_that_tells(seconds: float, words: str) -> None:
    """Forty seconds, 26 minutes, two and a half hours and four days; number and unit never part at a line's end."""
    assert lasting(seconds) == words.replace(" ", "\u00a0")
