"""Pieces that several pages are made of: what says a page is blind or old, tables, links to wheels and rooms."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from dashboard.language import say
from dashboard.look import notice
from dashboard.plain import age, text, when
from dashboard.source import Answer


def lost_touch() -> str:
    """The line that shows itself when a page has not been drawn anew for half a minute."""
    words = say("This page has lost touch with its server. What stands below is old.")
    return notice(text(words), "no-reading", "lost-touch")


def touched(drawn: str) -> str:
    """Begins anew the half minute after which the page's numbers turn hollow; ``drawn`` differs at each drawing.

    An animation starts again where its name changes, so the numbers need not be put on the page anew for it.
    """
    hollow = "to { color: transparent; -webkit-text-stroke: .022em var(--ink); }"
    return f"<style>.figure .digits {{ animation-name: hollow-{drawn}; }} @keyframes hollow-{drawn} {{ {hollow} }}</style>"


def cannot_be_read(what: str, answer: Answer) -> str:
    """A notice that a document cannot be read, why, and how old what is shown instead is."""
    old = " " + say("What stands below was true {ago}.", ago=age(answer.age_s())) if answer.document else ""
    return notice(f"<b>{text(what)}</b> {text(answer.fault, 1000)}{text(old)}", "now")


def not_watched(monitor: dict[str, Any] | None, zone: ZoneInfo, moment: datetime) -> str:
    """A notice that the monitor is not running, so that nothing is watched; nothing where it runs or is not known."""
    if not monitor or monitor["running"]:
        return ""
    since = when(monitor["last_beat_at"], zone, moment) if monitor["last_beat_at"] else None
    words = say("It has not run yet; nothing is watched.")
    if since:
        words = say(
            "It was last heard at {when}. Nothing is watched and no alarm is sent until it runs again.",
            when=since,
        )
    return notice(
        f"<b>{text(say('The monitor is not running.'))}</b> {text(words)} {text(say('Start it with:'))} <b>maturing-room run</b>",
        "now" if since else "no-reading",
    )


def table(heads: Iterable[str], rows: str) -> str:
    """A table with its heads; ``rows`` is HTML, already harmless."""
    cells = "".join(f"<th>{text(head)}</th>" for head in heads)
    return f'<table class="sheet"><thead><tr>{cells}</tr></thead><tbody>{rows}</tbody></table>'


def cell(value: str, label: str = "", sort: str = "") -> str:
    """A cell of a table; ``value`` is HTML, already harmless, ``label`` stands before it on a narrow screen."""
    named = f' data-label="{text(label)}"' if label else ""
    return f'<td class="{sort}"{named}>{value}</td>'


def no_wheels() -> str:
    """What to do where the ledger has no wheel yet."""
    words = say("No wheels yet. Add a make to the ledger, and its wheels stand here.")
    return f'<p class="panel">{text(words)} <b>maturing-room add-make --help</b></p>'


def section(title: str) -> str:
    """A heading within a page."""
    return f'<h2 class="section">{text(title)}</h2>'


def headline(title: str, more: str = "") -> str:
    """A page's first line: its name, and what it says at once."""
    return f'<h1 class="headline" style="font-weight:400"><b>{text(title)}</b> {text(more, 600)}</h1>'


def wheel_link(name: str, more: str = "") -> str:
    """A link to a wheel's page, by its name."""
    return f'<a class="plain-link" target="_self" href="wheel?wheel={quote(name, safe="")}">{text(name, 60)}</a>{more}'


def place_words(row: dict[str, Any]) -> str:
    """Where something stands, in words: 'North vault, lower shelves'."""
    parts = [row.get("room_name") or row.get("room"), row.get("place_name") or row.get("place")]
    return ", ".join(text(part, 80) for part in parts if part) or text(say("in no room"))
