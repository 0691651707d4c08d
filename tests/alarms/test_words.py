"""Messages: a line that fits a phone, and a text that says what to do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from monitor.alarms import Alarms
from monitor.alarms.runs import runs
from monitor.alarms.words import LONGEST_LINE, Context, shortened, words_of
from monitor.site import Site
from tests.alarms.samples import MINUTE, START, dry, make_alarms, make_site


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return make_site(tmp_path)


@pytest.fixture
def alarms(tmp_path: Path) -> Alarms:
    return make_alarms(tmp_path)


def test_the_text_says_what_where_since_when_to_which_wheels_and_what_to_check(
    site: Site, alarms: Alarms
) -> None:
    """All a person needs at three in the morning is in the text, in the site's own time."""
    alarms.update([dry()], START)
    words = words_of(site, alarms.standing(), "raised", Context(START))
    assert "North vault" in words.text
    assert "Humidity 74.2 % at Low rack" in words.text
    assert "Since Sun 01 Mar 03:04" in words.text
    assert "41 cloth-bound wheels drying at 2.3 times their intended pace" in words.text
    assert "Wheels: clothed-00 to clothed-40" in words.text
    assert "Check first: Has the humidifier water" in words.text
    assert "food-safety rules" in words.text


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "🧀" * 100, "x" * 300, "two\nlines\x07"])
def test_the_line_fits_whatever_the_names(site: Site, alarms: Alarms, name: str) -> None:
    """A line never passes 160 characters nor breaks in two, however a room is named."""
    alarms.update([dry(what=name, short=name)], START)
    alarm = alarms.standing()[0]
    alarm = replace(alarm, finding=replace(alarm.finding, room=name))
    for about in ("raised", "over"):
        words = words_of(site, [alarm], about, Context(START))
        assert len(words.line) <= LONGEST_LINE
        assert words.line.isprintable()
        assert "\x07" not in words.text


def test_over_says_how_long_it_lasted(site: Site, alarms: Alarms) -> None:
    """The last message says for how long."""
    alarms.update([dry()], START)
    alarms.acknowledge(1, "Nora", now_ms=START + MINUTE)
    alarms.update([], START + 200 * MINUTE)
    words = words_of(site, alarms.recent(), "over", Context(START + 200 * MINUTE))
    assert words.line.startswith("Over: North vault")
    assert "Over after 3 h 20 min" in words.text


def test_a_long_text_is_cut_at_a_word() -> None:
    """Shortened text ends with a whole word and a sign that more was meant."""
    cut = shortened("the humidifier in the north vault is dry and the door is open " * 5)
    assert len(cut) <= LONGEST_LINE
    assert cut.endswith("…")
    assert cut[:-1].split()[-1] in {
        "the",
        "humidifier",
        "in",
        "north",
        "vault",
        "is",
        "dry",
        "and",
        "door",
        "open",
    }


def test_the_line_ends_with_advice_that_is_whole(site: Site, alarms: Alarms) -> None:
    """As many of the questions as fit, each whole, and the day instead of the date; none where there is no room."""
    check = "Has the humidifier water, is the door shut, is dry outside air coming in?"
    short = "humidity 65.3 % at Low rack, wanted 80-88 %; 24 wheels"
    alarms.update([dry(short=short, check_first=check)], START)
    (alarm,) = alarms.standing()
    line = words_of(site, [alarm], "raised", Context(START + MINUTE)).line
    assert line.endswith("24 wheels. Since Sun 03:04. Check: Has the humidifier water, is the door shut?")
    long = replace(alarm, finding=replace(alarm.finding, short="x" * 100))
    assert words_of(site, [long], "raised", Context(START + MINUTE)).line.endswith("Since Sun 03:04.")
    two = replace(
        alarm, finding=replace(alarm.finding, short="x" * 90, check_first="Is it up, and right? Try: y")
    )
    assert words_of(site, [two], "raised", Context(START)).line.endswith("Check: Is it up?")
    week_old = words_of(site, [alarm], "raised", Context(START + 7 * 24 * 60 * MINUTE)).line
    assert "Since Sun 01 Mar 03:04." in week_old


def test_sensors_silent_together_are_named_by_their_place(site: Site, alarms: Alarms) -> None:
    """Of a power cut each sensor is named once, with where it is, and not for how long it was silent when last looked."""
    silent = [
        dry(rule="silence", aspect="", sensor=f"nv-{n}", place="low-rack", what=f"nv-{n} silent for 31 min")
        for n in (1, 2)
    ]
    alarms.update(silent, START)
    text = words_of(site, alarms.standing(), "raised", Context(START)).text
    assert "- nv-1: North vault, " in text
    assert "31 min" not in text


@pytest.mark.parametrize(
    ("names", "told"),
    [
        (["HF-02", "HF-01", "HF-03"], ["HF-01 to HF-03"]),
        (["HF-01", "HF-02", "HF-04"], ["HF-01", "HF-02", "HF-04"]),
        (["a9", "a10", "a11", "b"], ["a9", "a10", "a11", "b"]),
        (["HF-09", "HF-10", "HF-11", "HF-11"], ["HF-09 to HF-11"]),
    ],
)
def test_wheels_numbered_through_are_a_run(names: list[str], told: list[str]) -> None:
    """Three or more in a row stand as first and last; others one by one."""
    assert sorted(runs(names)) == sorted(told)
