"""Writes the page of messages as they arrive: ``python -m tests.system.messages_shown``.

An invented fortnight night by night through the real rules, alarms and sender, onto a real mail server; each mail is
taken apart again and its HTML is pictured by Chromium.
"""

from __future__ import annotations

import base64
import io
import math
import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from email.message import Message
from pathlib import Path
from unittest import mock

from PIL import Image

from monitor.air import dew_point
from monitor.alarms import Alarms, open_alarms
from monitor.alarms.sender import Sender
from monitor.alarms.tokens import Pass, acknowledge_by
from monitor.clock import DAY_MS, TEN_MINUTES_MS, from_ms, parse_rfc3339, to_ms
from monitor.records import AirRecord, Contents
from monitor.rules.engine import Engine
from monitor.rules.moment import Moment
from monitor.site import Site, load
from monitor.store import open_store
from monitor.store.protocol import Store
from tests.alarms.servers import MailServer

MINUTE = 60_000
ROOT = Path(__file__).parents[2]
PAGE, PICTURES = ROOT / "monitor/docs/messages.md", ROOT / "monitor/docs/pictures/messages"
BEGIN = to_ms(parse_rfc3339("2027-06-08T00:00:00+01:00"))
SHOWN = 10
SETTINGS = """
[alarms]
page = "http://127.0.0.1:8501"
daily_at = "07:30"
[alarms.acknowledge]
port = 8586
address = "http://127.0.0.1:8586"
secret_env = "MATURING_ACKNOWLEDGE_SECRET"
[[planned_work]]
room = "cellar"
kind = "washing"
days = ["wed"]
begin = "09:00"
end = "12:00"
[[route]]
name = "mail"
person = "Nora"
address_env = "MATURING_ROUTE_MAIL"
[[route]]
name = "second"
person = "Piet"
address_env = "MATURING_ROUTE_SECOND"
after_min = 60
daily = false
"""
CONTENTS = (
    Contents("cave", "mid-rack", "aldermoss", "maturing", tuple(f"AM-0311-{n:02}" for n in range(1, 25))),
    Contents("cave", "high-rack", "fenlight", "maturing", tuple(f"FL-0420-{n:02}" for n in range(1, 15))),
    Contents("cold-room", "middle", "aldermoss", "young", tuple(f"AM-0528-{n:02}" for n in range(1, 9))),
    Contents("cellar", "middle", "copperbank", "finishing", tuple(f"CB-0512-{n:02}" for n in range(1, 19))),
)
AIR = {"cave": (12.2, 84.0), "cold-room": (11.2, 88.5), "cellar": (12.5, 93.0)}


def hours(day: int, clock: str) -> int:
    """A time [ms] by the clock on the wall, so many days in."""
    hour, minute = clock.split(":")
    return BEGIN + day * DAY_MS + (int(hour) * 60 + int(minute)) * MINUTE


@dataclass
class Events:
    """What goes wrong when, all invented."""

    humidifier = (hours(0, "21:40"), hours(1, "01:10"))
    power = (hours(2, "03:00"), hours(2, "04:20"))
    too_warm = (hours(3, "13:00"), hours(3, "18:30"))
    full_mailbox = (hours(3, "13:00"), hours(3, "16:30"))

    def air(self, room: str, at_ms: int) -> tuple[float, float]:
        """The air of a room: temperature [degC] and humidity [%]."""
        temperature, humidity = AIR[room]
        phase = at_ms % DAY_MS / DAY_MS * 2 * math.pi
        temperature, humidity = temperature + 0.15 * math.sin(phase), humidity - 0.6 * math.sin(phase)
        if room == "cave" and _within(self.humidifier, at_ms):
            humidity -= min(19.0, (at_ms - self.humidifier[0]) / MINUTE * 0.4)
        if room == "cold-room" and _within(self.too_warm, at_ms):
            temperature += min(5.0, (at_ms - self.too_warm[0]) / MINUTE * 0.06)
        return temperature, humidity


def _within(span: tuple[int, int], at_ms: int) -> bool:
    return span[0] <= at_ms < span[1]


@dataclass
class Story:
    """Runs the invented days, a minute at a time, and keeps the mails that arrive."""

    site: Site
    store: Store
    alarms: Alarms
    mail: MailServer
    now: int = BEGIN
    arrived: list[tuple[int, str, Message]] = field(default_factory=list)

    def run(self, days: int) -> None:
        """Live through so many days."""
        engine, events = Engine(self.site), Events()
        sender = Sender(self.site, self.alarms, clock=lambda: self.now, store=lambda: self.store)
        answered = False
        while self.now < BEGIN + days * DAY_MS:
            self.mail.refused = {"nora@rooms.example"} if _within(events.full_mailbox, self.now) else set()
            records = tuple(self._records(events)) if self.now % TEN_MINUTES_MS == 0 else ()
            self.store.write_air(records)
            seen = {s.id: self._heard(events) for s in self.site.sensors}
            findings = engine.update(Moment(self.now, self.site, records, CONTENTS, seen))
            self.alarms.update(findings, self.now)
            sender.send_waiting()
            if not answered and self.now >= hours(0, "23:59"):
                answered = self._answer()
            self.arrived += [(self.now, to, mail) for to, mail, _ in self.mail.mails]
            self.mail.mails.clear()
            self.now += MINUTE

    def _records(self, events: Events) -> Iterator[AirRecord]:
        if _within(events.power, self.now - TEN_MINUTES_MS):
            return
        for room in self.site.rooms:
            t, rh = events.air(room.id, self.now - TEN_MINUTES_MS)
            for place in ("", *(p.id for p in room.places)):
                dew = float(dew_point(t, rh))
                yield AirRecord(
                    room.id, place, self.now - TEN_MINUTES_MS, t, t, t, rh, rh, rh, 1.0, dew, None, 0.15, 1.0
                )

    def _heard(self, events: Events) -> int:
        begin, end = events.power
        return min(self.now, begin) if self.now < end else self.now

    def _answer(self) -> bool:
        """Nora opens the link of the last message and presses its button."""
        for alarm in self.alarms.standing():
            acknowledge_by(self.site, self.alarms, Pass(self._message_of(alarm.id), "mail", 2**50), self.now)
        return True

    def _message_of(self, alarm_id: int) -> int:
        from monitor.alarms.messages import messages_of

        with self.alarms.journal.reading() as connection:
            return max(m["id"] for m in messages_of(connection, [alarm_id]) if m["route"] == "mail")


def write_page() -> None:
    """Make the page and its pictures anew."""
    with tempfile.TemporaryDirectory() as name, MailServer() as mail:
        folder = Path(name)
        text = (ROOT / "demo_data/site.toml").read_text("utf-8").replace("delay_min = 0.5", "delay_min = 30")
        (folder / "site.toml").write_text(text + SETTINGS, "utf-8")
        given = {
            "MATURING_ROUTE_MAIL": mail.address("nora@rooms.example"),
            "MATURING_ROUTE_SECOND": mail.address("piet@rooms.example"),
            "MATURING_ACKNOWLEDGE_SECRET": "an invented secret, for this page",
        }
        with mock.patch.dict(os.environ, given):
            site = load(folder / "site.toml")
            site.data_folder.mkdir()
            story = Story(site, open_store(site), open_alarms(site), mail)
            story.run(5)
            lines = _lines(story.alarms)
            story.alarms.close()
            story.store.close()
    _write(site, story.arrived, lines)


def _lines(alarms: Alarms) -> list[tuple[str, str, str]]:
    """The title, text without its link, and one-line form of each message."""
    import sqlalchemy as sa

    from monitor.alarms import journal as tables

    with alarms.journal.reading() as connection:
        rows = connection.execute(sa.select(tables.texts)).mappings()
        return [(row["title"], _without_link(row["text"]), row["line"]) for row in rows]


def _without_link(text: str) -> str:
    return "\n".join(line for line in text.strip().split("\n") if not line.startswith("I have seen it"))


def _line_of(lines: list[tuple[str, str, str]], title: str, body: str) -> str:
    """The one-line form of a mail; its text may begin with a note that it is late."""
    told = _without_link(body)
    return next(line for known, text, line in lines if known == title and told.endswith(text))


def _write(site: Site, arrived: list[tuple[int, str, Message]], lines: list[tuple[str, str, str]]) -> None:
    PICTURES.mkdir(parents=True, exist_ok=True)
    for old in PICTURES.glob("*.png"):
        old.unlink()
    parts = [HEAD]
    pages: list[tuple[Path, str]] = []
    for number, (at_ms, to, mail) in enumerate(_chosen(arrived), 1):
        body, html = _parts(mail)
        local = from_ms(at_ms).astimezone(site.site.zone).strftime("%A %d %B %H:%M")
        line = _line_of(lines, str(mail["Subject"]), body)
        picture = PICTURES / f"message-{number:02}.png"
        pages.append((picture, html))
        parts.append(
            f"\n## {number}. {mail['Subject']}\n\nArrived {local} at {to.partition('@')[0].capitalize()}. "
            f"The one-line form ({len(line)} characters):\n\n```\n{line}\n```\n\nThe text:\n\n"
            f"```\n{_without_token(body)}\n```\n\n![{mail['Subject']}](pictures/messages/{picture.name})\n"
        )
    PAGE.write_text("".join(parts), "utf-8")
    _picture(pages)


HEAD = """# Messages as they arrive

Ten messages of five invented days at an invented site, in order of arrival. They went through the real rules, alarms
and sender onto a real mail server, and were taken apart again: the one-line form (for channels that carry little),
the text, and the HTML as Chromium draws it. Made by `python -m tests.system.messages_shown`. Nothing here was measured.
"""


def _chosen(arrived: list[tuple[int, str, Message]]) -> list[tuple[int, str, Message]]:
    """The first of each call and place, then others that say something else, in order of arrival."""
    seen: set[str] = set()
    first, further = [], []
    for entry in arrived:
        text, html = _parts(entry[2])
        head, text = html.partition("</h1>")[0], _without_token(text)
        if text not in seen:
            (further if head in seen else first).append(entry)
        seen |= {head, text}
    return sorted([*first, *further][:SHOWN], key=lambda entry: entry[0])


def _parts(mail: Message) -> tuple[str, str]:
    text = html = ""
    picture = b""
    for part in mail.walk():
        if part.get_content_type() == "text/plain":
            text = str(part.get_content())  # type: ignore[attr-defined]
        elif part.get_content_type() == "text/html":
            html = str(part.get_content())  # type: ignore[attr-defined]
        elif part.get_content_type() == "image/png":
            payload = part.get_payload(decode=True)
            picture = payload if isinstance(payload, bytes) else b""
            cid = str(part["Content-ID"]).strip("<>")
            html = html.replace(f"cid:{cid}", "data:image/png;base64," + base64.b64encode(picture).decode())
    return text.replace("\r\n", "\n").strip(), html


def _without_token(text: str) -> str:
    return "\n".join(
        line.partition("token=")[0] + "token=..." if "token=" in line else line for line in text.split("\n")
    )


def _picture(pages: list[tuple[Path, str]]) -> None:
    from tests.system.browser import chromium, page_of

    with chromium() as browser, page_of(browser, 560, 400) as page:
        for path, html in pages:
            page.set_content(html)
            image = Image.open(io.BytesIO(page.screenshot(full_page=True)))
            image.convert("RGB").quantize(64, Image.Quantize.MAXCOVERAGE).save(path, "PNG", optimize=True)


if __name__ == "__main__":
    write_page()
