"""An alarm in a person's words: one line for a phone, and a full text."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from monitor.alarms.record import Alarm
from monitor.clock import from_ms
from monitor.rules.finding import Priority
from monitor.rules.words import span_text
from monitor.site import Site

LONGEST_LINE = 160
CAUTION = (
    "This informs; local food-safety rules and licensed practice decide. Air a closed room before you go in."
)
CALLS = {
    Priority.CRITICAL: "Now",
    Priority.HIGH: "Now",
    Priority.MEDIUM: "Needs you",
    Priority.LOW: "When you can",
}


@dataclass(frozen=True)
class Words:
    """A message: its title, the line of at most 160 characters, and the full text."""

    title: str
    line: str
    text: str


def words_of(site: Site, alarm: Alarm, about: str) -> Words:
    """What a message about an alarm says; ``about`` is ``raised`` or ``over``."""
    finding = alarm.finding
    room = site.room_by_id.get(finding.room)
    name = _one_line(room.name if room else finding.room or site.site.name)
    over = about == "over"
    call = "Over" if over else CALLS[Priority(alarm.priority)]
    what = _one_line(finding.what)
    since = _clock(site, alarm.since_ms)
    if over:
        lasted = span_text((alarm.returned_ms or alarm.ended_ms or alarm.changed_ms) - alarm.since_ms)
        tail = f"Lasted {lasted}, since {since}."
    else:
        tail = f"Since {since}."
    short = _one_line(finding.short) or what
    line = shortened(
        f"{call}: {name}: {short}. {tail}" + ("" if over else f" Check: {_one_line(finding.check_first)}")
    )
    parts = [f"{name} ({_one_line(site.site.name)})", "", f"{what}.", tail]
    if finding.effect:
        parts.append(f"{_one_line(finding.effect).capitalize()}.")
    if finding.wheels:
        parts.append(
            f"Wheels: {', '.join(_one_line(w) for w in finding.wheels[:12])}"
            + _more(len(finding.wheels) - 12)
        )
    if not over:
        parts.append(f"Check first: {_one_line(finding.check_first)}")
    parts += ["", f"Alarm {alarm.id}. {CAUTION}"]
    return Words(shortened(f"{call}: {name}", 100), line, "\n".join(parts))


def shortened(text: str, longest: int = LONGEST_LINE) -> str:
    """A text cut at a word to at most so many characters."""
    if len(text) <= longest:
        return text
    cut = text[: longest - 1]
    return (cut.rsplit(" ", 1)[0] if " " in cut[longest // 2 :] else cut).rstrip(" ,;:") + "…"


def _more(count: int) -> str:
    return f" and {count} more" if count > 0 else ""


def _one_line(text: str) -> str:
    plain = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(plain.split()).rstrip(".")


def _clock(site: Site, time_ms: int) -> str:
    moment: datetime = from_ms(time_ms).astimezone(site.site.zone)
    return moment.strftime("%a %d %b %H:%M")
