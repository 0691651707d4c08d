"""What the terminal says of alarms: in the site's own time, and what they do to the wheels."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from monitor.alarms import Alarms, open_alarms
from monitor.alarms.document import alarms_document
from monitor.alarms.texts import alarms_text, local, try_text
from monitor.errors import AlarmError
from monitor.site import Site
from tests.alarms.samples import MINUTE, START, dry, make_site

DUBLIN = ZoneInfo("Europe/Dublin")


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return make_site(tmp_path)


@pytest.fixture
def alarms(site: Site) -> Iterator[Alarms]:
    opened = open_alarms(site)
    yield opened
    opened.close()


def shown(site: Site, alarms: Alarms) -> str:
    return alarms_text(alarms_document(site, alarms, START + 60 * MINUTE), DUBLIN)


def test_a_standing_alarm_says_what_it_does_and_what_to_check(site: Site, alarms: Alarms) -> None:
    """The four lines of an alarm: how pressing and since when, what and where, the wheels, what to check first."""
    alarms.update([dry()], START)
    lines = shown(site, alarms).splitlines()
    found = dry()
    assert lines[0] == "1 standing"
    assert lines[2].startswith("     1  medium, since ")
    assert lines[2].endswith(", not acknowledged")
    assert lines[3:] == [
        f"        North vault: {found.what}",
        f"        {found.effect}",
        f"        Check first: {found.check_first}",
    ]


def test_who_answered_it_and_when_stands_beside_it(site: Site, alarms: Alarms) -> None:
    """Acknowledged by whom, in the site's own time, and what they noted."""
    alarms.update([dry()], START)
    alarms.acknowledge(1, "Nora", "tank refilled", now_ms=START + 30 * MINUTE)
    text = shown(site, alarms)
    assert "acknowledged by Nora, " in text
    assert text.endswith("        Note: tank refilled")


def test_what_is_put_aside_says_until_when(site: Site, alarms: Alarms) -> None:
    """A shelved alarm with the moment it comes back."""
    alarms.update([dry()], START)
    alarms.shelve(1, "Nora", START + 240 * MINUTE, now_ms=START)
    until = local(alarms_document(site, alarms)["standing"][0]["until_at"], DUBLIN)
    assert f", shelved until {until}" in shown(site, alarms)


def test_what_is_over_is_one_line_with_its_span(site: Site, alarms: Alarms) -> None:
    """From when to when, and what it was."""
    alarms.update([dry()], START)
    alarms.acknowledge(1, "Nora", now_ms=START + MINUTE)
    alarms.update([], START + 60 * MINUTE)
    lines = shown(site, alarms).splitlines()
    assert lines[:3] == ["Nothing stands.", "", "Lately over:"]
    assert lines[3].endswith(f"North vault: {dry().what}")
    assert " to " in lines[3]


@pytest.mark.parametrize(
    ("aside", "act", "words"),
    [
        ("acknowledge", "acknowledge", "acknowledged already"),
        ("acknowledge", "reset", "only one that is latched"),
        ("acknowledge", "unshelve", "and not shelved"),
        ("shelve", "acknowledge", "waits for nobody"),
    ],
)
def test_what_cannot_be_answered_says_why(alarms: Alarms, aside: str, act: str, words: str) -> None:
    """Answered twice, reset though never latched, brought back though not aside, answered while it is aside."""
    alarms.update([dry()], START)
    more = {"until_ms": START + 240 * MINUTE} if aside == "shelve" else {}
    getattr(alarms, aside)(1, "Nora", now_ms=START, **more)
    with pytest.raises(AlarmError, match=words):
        getattr(alarms, act)(1, "Piet", now_ms=START + MINUTE)


def test_times_are_the_sites_own_with_the_year_where_it_is_another() -> None:
    """Half past one in Dublin's summer is half past midnight in UTC."""
    assert local("2021-06-08T00:30:00Z", DUBLIN) == "Tue 08 Jun 2021 01:30"
    assert local(None, DUBLIN) == "--"


def test_words_from_outside_cannot_steer_the_terminal(site: Site, alarms: Alarms) -> None:
    """An escape sequence in a note is shown without its escape."""
    alarms.update([dry()], START)
    alarms.acknowledge(1, "Nora", "\x1b[2Jgone", now_ms=START + MINUTE)
    assert "\x1b" not in shown(site, alarms)


def test_a_trial_without_alarms_says_so() -> None:
    """Nothing raised is a sentence and no empty table; without a route it says why there are no messages."""
    document = {"rows": [], "changed": None, "as_is": {"days": 7.0, "messages": {}}}
    assert try_text(document, DUBLIN) == (
        "Nothing would have alarmed.\n\nIn 7.0 days, in whole slots of ten minutes: 0 raised, no messages, as the "
        "site file names no route. Times are those of Europe/Dublin."
    )
