"""Alarms in a person's words: one line for a phone, a full text, and the same as HTML."""

from __future__ import annotations

import base64
import html
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from monitor.alarms.record import Alarm
from monitor.alarms.runs import runs
from monitor.clock import DAY_MS, from_ms
from monitor.rules.finding import Priority
from monitor.rules.words import STAY_OUT, listed, place_name, span_text
from monitor.site import Site

LONGEST_LINE = 160
LONGEST_TITLE = 70
"""So many characters of a mail's subject or a push are read from a lock screen; common practice, no source."""
LONGEST_WHERE = 28
"""So many characters of a title at most are the names of rooms."""
LEAST_SHORT = 30
"""So many characters at least has a line for what is wrong, however long the names of rooms are."""
LEAST_CLAUSE = 12
"""A text cut at its clauses keeps so many characters at least, or else is cut at a word."""
MOST_LISTED = 12
CAUTION = (
    "This informs; local food-safety rules and licensed practice decide. Air a closed room before you go in."
)
CALLS = {
    Priority.CRITICAL: "Now",
    Priority.HIGH: "Now",
    Priority.MEDIUM: "Needs you",
    Priority.LOW: "When you can",
}
ABOUTS = {
    "over": "Over",
    "reminder": "Still",
    "again": "Still",
    "worse": "Worse",
    "escalated": "Not answered",
}
SILENT_CHECK = "Is there power in the rooms, and do the network and the broker run?"
ACKNOWLEDGE = "{{acknowledge}}"
"""Stands in the kept words for the link, which is made when a message leaves: the journal holds no key."""


@dataclass(frozen=True)
class Words:
    """A message: its title (70 characters), the line (160 at most), the full text, and HTML with its picture inside."""

    title: str
    line: str
    text: str
    html: str = ""


@dataclass(frozen=True)
class Context:
    """What words need beside the alarms: when they are said, what it cost the wheels, and where to look."""

    at_ms: int
    cost: str = ""
    page: str = ""
    may_acknowledge: bool = False
    picture: bytes | None = None
    over_meanwhile: int = 0


@dataclass
class Parts:
    """A message in parts, from which text and HTML are made alike; ``head`` stands above the HTML."""

    title: str
    head: str
    line: str
    place: str
    paragraphs: list[str] = field(default_factory=list)
    further: list[str] = field(default_factory=list)
    check_first: str = ""
    wheels: str = ""
    foot: str = ""


def words_of(site: Site, alarms: Sequence[Alarm], about: str, context: Context) -> Words:
    """What a message says about alarms (one at least, the most pressing first); see ``json.md`` for ``about``."""
    parts = _over(site, alarms, context) if about == "over" else _stands(site, alarms, about, context)
    ids = sorted(a.id for a in alarms)
    numbers = ", ".join(str(i) for i in ids[:MOST_LISTED]) + _more(len(ids) - MOST_LISTED)
    parts.foot = f"Alarm{'s' if len(alarms) > 1 else ''} {numbers}. {CAUTION}"
    return composed(parts, context, asks=about != "over")


def composed(parts: Parts, context: Context, asks: bool) -> Words:
    """Words from parts; ``asks`` where they ask for acknowledgement."""
    acknowledge = ACKNOWLEDGE if context.may_acknowledge and asks else ""
    lines = [parts.place, "", *parts.paragraphs]
    lines += [f"- {text}" for text in parts.further]
    if parts.check_first:
        lines.append(f"Check first: {parts.check_first}")
    if parts.wheels:
        lines.append(f"Wheels: {parts.wheels}")
    lines.append("")
    if acknowledge:
        lines.append(f"I have seen it: {acknowledge}")
    if context.page:
        lines.append(f"See: {context.page}")
    lines.append(parts.foot)
    return Words(
        parts.title,
        shortened(parts.line),
        "\n".join(lines),
        _html(parts, context, acknowledge),
    )


def late(site: Site, words: Words, composed_ms: int) -> Words:
    """Words that could not leave when they were put together, which they say."""
    note = f"Written {_clock(site, composed_ms)}; it could not be sent before now."
    begin, tag, rest = words.html.partition("</h1>")
    told = f'<p style="margin:0 0 8px"><b>{html.escape(note)}</b></p>'
    return replace(words, text=f"{note}\n\n{words.text}", html=begin + tag + (told if tag else "") + rest)


def with_link(words: Words, link: str) -> Words:
    """Words with the link that acknowledges put in its place."""
    return replace(
        words,
        text=words.text.replace(ACKNOWLEDGE, link),
        html=words.html.replace(ACKNOWLEDGE, html.escape(link, quote=True)),
    )


def _stands(site: Site, alarms: Sequence[Alarm], about: str, context: Context) -> Parts:
    first = alarms[0]
    call = ABOUTS.get(about) or CALLS[Priority(first.priority)]
    since_ms = min(a.since_ms for a in alarms)
    where = _where(site, alarms)
    what, short = _what(alarms)
    check = SILENT_CHECK if _many_silent(alarms) else _one_line(first.finding.check_first)
    begin, end = f"{call}: {where}: ", f". Since {_clock(site, since_ms, context.at_ms)}."
    line = begin + shortened(short, max(LEAST_SHORT, LONGEST_LINE - len(begin + end)))
    line += end.removeprefix(".") if line.endswith("…") else end
    parts = Parts(
        title_of(call, _where(site, alarms, LONGEST_WHERE), *_worst(alarms), _in_rooms(alarms)),
        f"{call}: {where}",
        line + _advice(check, LONGEST_LINE - len(line)),
        _place(site, where),
    )
    lasted = span_text(max(0, context.at_ms - since_ms))
    parts.paragraphs = [f"{what}."] if what else []
    parts.paragraphs.append(f"Since {_clock(site, since_ms)} ({lasted}).")
    if about == "escalated":
        parts.paragraphs.append("Nobody has acknowledged it yet.")
    parts.paragraphs += _effects(alarms)
    parts.wheels = _wheels(alarms)
    if context.over_meanwhile:
        parts.paragraphs.append(f"{context.over_meanwhile} more came and went meanwhile.")
    parts.check_first = check
    parts.further = _further(site, alarms)
    return parts


def _over(site: Site, alarms: Sequence[Alarm], context: Context) -> Parts:
    since_ms = min(a.since_ms for a in alarms)
    ended_ms = max(a.returned_ms or a.ended_ms or a.changed_ms for a in alarms)
    where, lasted = _where(site, alarms), span_text(max(0, ended_ms - since_ms))
    what, short = _what(alarms, "")
    cost = f" {_sentence(context.cost)}" if context.cost else ""
    parts = Parts(
        title_of("Over", _where(site, alarms, LONGEST_WHERE), *_worst(alarms, ""), _in_rooms(alarms)),
        f"Over: {where}",
        f"Over: {where}, after {lasted}. It was: {short}.{cost}",
        _place(site, where),
    )
    parts.paragraphs = [f"Over after {lasted}, since {_clock(site, since_ms)}."]
    if context.cost:
        parts.paragraphs.append(_sentence(context.cost))
    parts.paragraphs.append(f"It was: {what}." if what else "It was:")
    parts.paragraphs += _effects(alarms, "While it lasted: ")
    parts.further, parts.wheels = _further(site, alarms), _wheels(alarms)
    return parts


def title_of(call: str, where: str, problem: str, more: int = 0, in_rooms: bool = True) -> str:
    """What is read from a lock screen: whether to come, the room, what is wrong there, and how much more is.

    What is in no room (``in_rooms`` is false) says so only where that fits.
    """
    end = f"; {more} more" if more else ""
    where, problem = _one_line(where), _one_line(problem)
    told = _clauses(problem, LONGEST_TITLE - len(f"{call}: {end}"))
    if where in told or not (in_rooms or len(f"{call}: {where}: {problem}{end}") <= LONGEST_TITLE):
        return f"{call}: {told}{end}"
    begin = f"{call}: {shortened(where, LONGEST_WHERE)}: "
    return begin + _clauses(problem, LONGEST_TITLE - len(begin + end)) + end


def _clauses(text: str, longest: int) -> str:
    """As many of a text's clauses as fit whole; where none does, the text cut at a word."""
    ends = [m.start() for m in re.finditer(r"[,;](?= )| \(", text)]
    whole = next((text[:end] for end in [len(text), *reversed(ends)] if LEAST_CLAUSE <= end <= longest), "")
    return whole or shortened(text, longest)


def _worst(alarms: Sequence[Alarm], are: str = "are ") -> tuple[str, int]:
    """The most pressing of what is wrong, in short, and how many more there are beside it."""
    if _many_silent(alarms):
        return _what(alarms, are)[1], 0
    return _short(alarms[0], are), len(alarms) - 1


def _many_silent(alarms: Sequence[Alarm]) -> bool:
    return len(alarms) > 1 and all(a.finding.rule == "silence" for a in alarms)


def _what(alarms: Sequence[Alarm], are: str = "are ") -> tuple[str, str]:
    """What is wrong, in full and short; of several alarms only in short, since each is said by itself."""
    first = alarms[0].finding
    what, short = _one_line(first.what), _short(alarms[0], are)
    if len(alarms) == 1:
        return what, short
    if _many_silent(alarms):
        text = f"{len(alarms)} sensors {are}silent"
        return f"{text}; one cause is likely (power, network, broker)", text
    return "", f"{short}; {len(alarms) - 1} more"


def _short(alarm: Alarm, are: str) -> str:
    """What is wrong in short; of what is over (``are`` is empty) nobody is told to stay out."""
    short = _one_line(alarm.finding.short) or _one_line(alarm.finding.what)
    return short if are else short.removeprefix(STAY_OUT)


def _effects(alarms: Sequence[Alarm], before: str = "") -> list[str]:
    """What it does to the wheels; of many alarms each says its own beside what it is."""
    effect = alarms[0].finding.effect if len(alarms) == 1 else ""
    return [before + _sentence(effect)] if effect else []


def _wheels(alarms: Sequence[Alarm]) -> str:
    """Which wheels, with those numbered through as runs."""
    named = runs(_one_line(w) for a in alarms for w in a.finding.wheels)
    return f"{', '.join(named[:MOST_LISTED])}{_more(len(named) - MOST_LISTED)}"


def _further(site: Site, alarms: Sequence[Alarm]) -> list[str]:
    if len(alarms) == 1:
        return []
    silent = _many_silent(alarms)
    shown = [_sensor(site, a) if silent else _with_effect(a) for a in alarms[:MOST_LISTED]]
    rest = len(alarms) - MOST_LISTED
    return [*shown, f"and {rest} more"] if rest > 0 else shown


def _with_effect(alarm: Alarm) -> str:
    effect = _one_line(alarm.finding.effect)
    return _one_line(alarm.finding.what) + (f": {effect}" if effect else "")


def _sensor(site: Site, alarm: Alarm) -> str:
    room = site.room_by_id.get(alarm.finding.room)
    where = [room.name, place_name(room, alarm.finding.place)] if room else []
    return _one_line(": ".join([alarm.finding.sensor, ", ".join(dict.fromkeys(where))]))


def _advice(check: str, room: int) -> str:
    """The advice for the end of a line: as many of its clauses as fit whole, or nothing."""
    clauses = re.split(r"(?<=[,;]) ", check)
    for count in range(len(clauses), 0, -1):
        text = " ".join(clauses[:count]).rstrip(",;")
        ends = re.search(r"[?.:]", check[len(text) - 1 :])
        asks = "?" if ends and ends[0] == "?" and not text.endswith("?") else ""
        if len(f" Check: {text}{asks}") <= room:
            return f" Check: {text}{asks}"
    return ""


def _place(site: Site, where: str) -> str:
    name = _one_line(site.site.name)
    return where if where == name else f"{where} ({name})"


def _in_rooms(alarms: Sequence[Alarm]) -> bool:
    return any(alarm.finding.room for alarm in alarms)


def _where(site: Site, alarms: Sequence[Alarm], longest: int | None = None) -> str:
    """The rooms that alarms are about, the first and a count where they are too long; the site for what is about none."""
    names = []
    for alarm in alarms:
        room = site.room_by_id.get(alarm.finding.room)
        names.append(_one_line(room.name if room else alarm.finding.room or site.site.name))
    rooms = list(dict.fromkeys(names))
    text, more = listed(rooms), len(rooms) - 1
    if longest is None or len(text) <= longest or not more:
        return text
    return f"{rooms[0]} and {more} more room{'s' if more > 1 else ''}"


def _html(parts: Parts, context: Context, acknowledge: str) -> str:
    text = html.escape
    body = [f'<h1 style="font-size:22px;margin:0 0 4px">{text(parts.head)}</h1>']
    body.append(f'<p style="margin:0 0 12px;color:#555">{text(parts.place)}</p>')
    body += [f'<p style="margin:0 0 8px">{text(p)}</p>' for p in parts.paragraphs]
    if parts.further:
        items = "".join(f"<li>{text(item)}</li>" for item in parts.further)
        body.append(f'<ul style="margin:0 0 8px;padding-left:20px">{items}</ul>')
    if parts.check_first:
        style = "margin:12px 0;padding:10px 14px;border-left:6px solid #222;background:#f1f1ee"
        body.append(f'<p style="{style}"><b>Check first:</b> {text(parts.check_first)}</p>')
    if context.picture:
        data = base64.b64encode(context.picture).decode()
        alt = "The room&#39;s air over the last 24 hours"
        body.append(
            f'<p style="margin:12px 0"><img width="480" alt="{alt}" style="max-width:100%;height:auto" '
            f'src="data:image/png;base64,{data}"></p>'
        )
    if parts.wheels:
        body.append(f'<p style="margin:0 0 8px">Wheels: {text(parts.wheels)}</p>')
    if acknowledge:
        style = "display:inline-block;padding:12px 22px;border:2px solid #222;color:#222;text-decoration:none"
        body.append(
            f'<p style="margin:16px 0"><a href="{acknowledge}" style="{style}">I have seen it</a></p>'
        )
    if context.page:
        body.append(
            f'<p style="margin:0 0 8px"><a href="{text(context.page)}" style="color:#222">See the page</a></p>'
        )
    body.append(f'<p style="margin:16px 0 0;font-size:13px;color:#555">{text(parts.foot)}</p>')
    style = "font:16px/1.45 sans-serif;color:#222;background:#fff;max-width:520px;margin:0;padding:16px"
    return f'<!doctype html><html><body style="{style}">{"".join(body)}</body></html>'


def shortened(text: str, longest: int = LONGEST_LINE) -> str:
    """A text cut at a word to at most so many characters."""
    if len(text) <= longest:
        return text
    cut = text[: longest - 1]
    return (cut.rsplit(" ", 1)[0] if " " in cut[longest // 2 :] else cut).rstrip(" ,;:") + "…"


def _more(count: int) -> str:
    return f" and {count} more" if count > 0 else ""


def _sentence(text: str) -> str:
    plain = _one_line(text)
    return f"{plain[:1].upper()}{plain[1:]}."


def _one_line(text: str) -> str:
    plain = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(plain.split()).rstrip(".")


def _clock(site: Site, time_ms: int, at_ms: int | None = None) -> str:
    """A moment by the clock on the wall; without its date where it is of the last days before another [ms]."""
    moment: datetime = from_ms(time_ms).astimezone(site.site.zone)
    is_near = at_ms is not None and abs(at_ms - time_ms) < 6 * DAY_MS
    return moment.strftime("%a %H:%M" if is_near else "%a %d %b %H:%M")
