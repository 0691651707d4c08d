"""The forms of a message: HTML with a picture and nothing from elsewhere, the cost to the wheels, the daily message."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from PIL import Image

from monitor.alarms import Alarms, open_alarms
from monitor.alarms.compose import Composer, cost_words
from monitor.alarms.daily import Day, daily_words
from monitor.alarms.mail import mail_of
from monitor.alarms.picture import Course, picture
from monitor.alarms.words import LONGEST_LINE, Context, Words, words_of
from monitor.clock import TEN_MINUTES_MS
from monitor.records import AirRecord
from monitor.rules.finding import Priority
from monitor.site import Site
from monitor.store import open_store
from tests.alarms.samples import MINUTE, START, dry

HOUR = 60 * MINUTE
IN_STAGE = {"rh_pct": 74.2, "stage": "old"}


def air(room: str, start_ms: int, rh_pct: float | None, place: str = "") -> AirRecord:
    t = None if rh_pct is None else 10.5
    return AirRecord(room, place, start_ms, t, t, t, rh_pct, rh_pct, rh_pct, 1.0, None, None)


@pytest.fixture
def composed(site: Site) -> tuple[Words, Words]:
    """What a phone hears of three hours at 70 %, from records in a real store: raised and over."""
    store, alarms = open_store(site), open_alarms(site)
    slots = range(START - 24 * HOUR, START + 4 * HOUR, TEN_MINUTES_MS)
    store.write_air(
        [air("vault", s - s % TEN_MINUTES_MS, 70.0 if START <= s < START + 3 * HOUR else 84.0) for s in slots]
    )
    composer = Composer(site, alarms, lambda: store)
    alarms.update([dry(numbers=IN_STAGE)], START + HOUR)
    alarms.update([dry(numbers=IN_STAGE)], START + 2 * HOUR)
    raised = composer.compose({"id": 2, "about": "raised"}, START + 2 * HOUR)
    alarms.update([], START + 3 * HOUR)
    over = composer.compose({"id": 2, "about": "over"}, START + 3 * HOUR)
    store.close()
    alarms.close()
    assert isinstance(raised, Words)
    assert isinstance(over, Words)
    return raised, over


def test_html_carries_its_picture_and_fetches_nothing(composed: tuple[Words, Words]) -> None:
    """The picture is a PNG of the last 24 hours inside the message; no address of elsewhere is in it."""
    raised, _ = composed
    found = re.search(r"data:image/png;base64,([A-Za-z0-9+/=]+)", raised.html)
    assert found is not None
    image = Image.open(io.BytesIO(base64.b64decode(found[1])))
    assert image.format == "PNG"
    assert image.width == 960
    assert "http" not in raised.html.replace(found[0], "")
    assert "Check first:" in raised.html


def test_a_mail_holds_text_html_and_picture_together(composed: tuple[Words, Words]) -> None:
    """One mail: text for who wants text, HTML whose picture is a part of the same mail, and a thread."""
    mail = mail_of(composed[0], "auto", "key", "thread", ("Monitor", "m@rooms.example"), ("", "n@h.example"))
    kinds = [part.get_content_type() for part in mail.walk()]
    assert kinds == ["multipart/alternative", "text/plain", "multipart/related", "text/html", "image/png"]
    html = next(p for p in mail.walk() if p.get_content_type() == "text/html").get_content()
    cid = next(p for p in mail.walk() if p.get_content_type() == "image/png")["Content-ID"].strip("<>")
    assert f"cid:{cid}" in html
    assert "base64," not in html
    assert mail["Message-ID"] == "<key@rooms.example>"
    line = mail_of(composed[0], "line", "key", "thread", ("Monitor", "m@rooms.example"), ("", "n@h.example"))
    assert line.get_content().strip() == composed[0].line


def test_over_says_what_it_cost_the_wheels(composed: tuple[Words, Words]) -> None:
    """From the records of the span: three hours at 70 % where 84 % is meant dry as much as over five hours should."""
    found = re.search(r"In 3 h the wheels dried as much as meant for (\d) h", composed[1].text)
    assert found is not None, composed[1].text
    assert 4 <= int(found[1]) <= 6
    assert "dried as much" in composed[1].line


@pytest.mark.parametrize(
    ("pace", "words"),
    [
        (2.0, "in 3 h the wheels dried as much as meant for 6 h"),
        (0.5, "in 3 h the wheels dried only as much as meant for 1 h 30 min"),
        (-0.2, "the wheels took up water for 3 h instead of drying"),
        (1.05, ""),
    ],
)
def test_a_mean_pace_in_words(pace: float, words: str) -> None:
    """Twice the pace is twice the time; near the intended there is nothing to say."""
    assert cost_words(pace, 3 * HOUR) == words


def test_what_is_outside_the_band_has_a_colour_of_its_own() -> None:
    """The line is red outside the band and dark inside; without any value there is no picture."""
    times = np.arange(START - 24 * HOUR, START, TEN_MINUTES_MS)
    values = np.where(times < START - 6 * HOUR, 84.0, 70.0)
    shown = picture(times, [Course("Humidity", "%", values, (80.0, 88.0))], START, ZoneInfo("Europe/Dublin"))
    assert shown is not None
    reds = {
        colour
        for _, colour in Image.open(io.BytesIO(shown)).convert("RGB").getcolors(100_000)
        if colour[0] > 150 and colour[1] < 80
    }
    assert reds
    empty = Course("Humidity", "%", np.full(len(times), np.nan), (80.0, 88.0))
    assert picture(times, [empty], START, ZoneInfo("Europe/Dublin")) is None


def test_all_is_well_only_where_everything_is_seen(site: Site) -> None:
    """All is well with fresh air and nothing standing; a room without readings is not well."""
    fresh = {"vault": air("vault", START - TEN_MINUTES_MS, 84.0)}
    well = daily_words(site, Day([], [], fresh), Context(START))
    assert well.line == "All is well: nothing stands. North vault 10.5 °C 84 %"
    stale = {"vault": air("vault", START - 5 * HOUR, 84.0)}
    blind = daily_words(site, Day([], [], stale), Context(START))
    assert blind.title == "Not all is well: North vault: no fresh readings"
    assert "North vault no fresh reading" in blind.text
    assert len(blind.line) <= LONGEST_LINE


def test_the_daily_message_names_what_stands_and_what_is_over(site: Site, tmp_path: Path) -> None:
    """One alarm stands and one ended in the night: both are in it."""
    alarms: Alarms = open_alarms(site)
    alarms.update([dry(), dry(aspect="temperature-high", what="Too warm")], START)
    alarms.acknowledge(2, "Nora", now_ms=START)
    alarms.update([dry()], START + MINUTE)
    fresh = {"vault": air("vault", START, 84.0)}
    words = daily_words(site, Day(alarms.standing(), alarms.recent(), fresh), Context(START + MINUTE))
    assert words.title == "Not all is well: North vault: Humidity 74.2 % at Low rack"
    assert "stands: Humidity 74.2 %" in words.text
    assert "over: Too warm" in words.text
    alarms.close()


def test_words_from_outside_are_text_in_html(site: Site) -> None:
    """A room or finding named like markup stays a name."""
    alarms = open_alarms(site)
    alarms.update([dry(Priority.HIGH, what="<img src=http://elsewhere.invalid/x>", effect="<b>")], START)
    alarm = alarms.standing()[0]
    for about in ("raised", "over", "escalated"):
        words = words_of(site, [alarm, replace(alarm, id=9)], about, Context(START))
        assert "<img src=http" not in words.html
        assert "<b>." not in words.html
    alarms.close()
