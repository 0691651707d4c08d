"""Rooms now: is it all right, and if not, what do I do?  Refreshes by itself and says when it is blind."""

from __future__ import annotations

from collections import Counter
from datetime import datetime
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard.language import current, say, say_count, weekday
from dashboard.panels import room_panel
from dashboard.parts import cannot_be_read, lost_touch, not_watched, table, touched
from dashboard.plain import text, when
from dashboard.source import Answer, Source
from monitor.clock import now

REFRESH_S = 5
LATE_AFTER_S = 20.0
"""A document older than this is said to be old [s]; it is asked for anew every few seconds."""


def show(source: Source) -> None:
    """Draw the page."""
    _rooms(source)


@st.fragment(run_every=REFRESH_S)
def _rooms(source: Source) -> None:
    for part in parts(source):
        st.html(part)


def glance(source: Source) -> str:
    """The whole page as HTML, as it is drawn now."""
    return "".join(parts(source))


def parts(source: Source) -> list[str]:
    """The head of the page, which differs at each drawing, and what stands below it, the same for everyone until the
    rooms are asked for anew."""
    answer, moment, zone = source.rooms(), now(), source.site.site.zone
    below = (
        []
        if answer.document is None
        else source.drawn(answer, current(), partial(_below, answer, moment, zone))
    )
    return [_head(answer, moment, zone), *below]


def _below(answer: Answer, moment: datetime, zone: ZoneInfo) -> list[str]:
    document = answer.document
    assert document is not None
    unit, late_s = document["site"]["display_unit"], answer.age_s()
    rooms = known_now(document["rooms"], late_s)
    panels = "".join(room_panel(room, unit, zone, moment, late_s) for room in sorted(rooms, key=_urgency))
    return [
        f'{_day_one(document)}<main class="rooms">{panels}</main>',
        f"<div>{_rejects(document['rejects'], zone, moment)}{_cautions(document['cautions'])}</div>",
    ]


def known_now(rooms: list[dict[str, Any]], late_s: float) -> list[dict[str, Any]]:
    """What is known of rooms now from a document so old [s]: of an old one nothing but what once was."""
    if late_s <= LATE_AFTER_S:
        return rooms
    words = say("What the air is now is not known.")
    return [
        {
            **room,
            "stale": True,
            "contacts": [],
            "state": "no-reading" if room["reading_at"] else room["state"],
            "sentence": words,
        }
        for room in rooms
    ]


def _day_one(document: dict[str, Any]) -> str:
    """What to do first, while no room was ever read and none holds wheels."""
    rooms = document["rooms"]
    if any(room["reading_at"] or room["wheels"] for room in rooms):
        return ""
    steps = (
        (say("Let a sensor send below maturing/, then name and place it:"), f'<a class="plain-link" target="_self" href="setup">{text(say("Set-up"))}</a>'),
        (say("Tell the ledger of a make and its wheels:"), "<code>maturing-room add-make --help</code>"),
        (say("Say who is told when something is wrong:"), f'<a class="plain-link" target="_self" href="setup">{text(say("Set-up"))}</a>'),
    )  # fmt: skip
    items = "".join(f"<li>{text(words)} {way}</li>" for words, way in steps)
    return f'<section class="panel day-one"><h2>{text(say("The first day"))}</h2><ol>{items}</ol></section>'


def _urgency(room: dict[str, Any]) -> int:
    order = ("now", "needs-you", "no-reading", "as-intended", "no-wheels")
    return order.index(room["state"]) if room["state"] in order else 1


def _head(answer: Answer, moment: datetime, zone: ZoneInfo) -> str:
    local = moment.astimezone(zone)
    document = answer.document
    site = "" if document is None else f' <span class="quiet">· {text(document["site"]["name"], 80)}</span>'
    count = "" if document is None else counted(known_now(document["rooms"], answer.age_s()))
    line = f'<h1 class="headline" style="font-weight:400"><b>{text(weekday(local))} {local:%H:%M}</b> {count}{site}</h1>'
    drawn = f"{moment:%H%M%S%f}"
    return f'<div data-drawn="{drawn}">{line}{lost_touch()}{touched(drawn)}{_blindness(answer, moment, zone)}</div>'


def counted(rooms: list[dict[str, Any]]) -> str:
    """How many rooms are in which state, worst first: '1 room needs you, 2 rooms are as intended'."""
    counts = Counter(room["state"] for room in rooms)
    parts = [
        say_count("{count} room needs you now", "{count} rooms need you now", counts["now"]),
        say_count("{count} room needs you", "{count} rooms need you", counts["needs-you"]),
        say_count(
            "{count} room has no fresh reading", "{count} rooms have no fresh reading", counts["no-reading"]
        ),
        say_count("{count} room is as intended", "{count} rooms are as intended", counts["as-intended"]),
        say_count("{count} room holds no wheels", "{count} rooms hold no wheels", counts["no-wheels"]),
    ]
    order = ("now", "needs-you", "no-reading", "as-intended", "no-wheels")
    said = [words for state, words in zip(order, parts, strict=True) if counts[state]]
    return ", ".join(said) or say("no rooms in the site file")


def _blindness(answer: Answer, moment: datetime, zone: ZoneInfo) -> str:
    """What keeps the page from knowing, in words; nothing where it knows."""
    parts = []
    if answer.fault:
        parts.append(cannot_be_read(say("The rooms cannot be read."), answer))
    parts.append(not_watched((answer.document or {}).get("monitor"), zone, moment))
    return "".join(parts)


def _rejects(rejects: dict[str, Any], zone: ZoneInfo, moment: datetime) -> str:
    if not rejects["total"]:
        return ""
    reasons = "".join(
        f"<li>{count} × {text(reason)}</li>"
        for reason, count in sorted(rejects["by_reason"].items(), key=lambda kv: -kv[1])[:8]
    )
    title = say_count(
        "{count} message could not be read", "{count} messages could not be read", rejects["total"]
    )
    rows = "".join(
        f'<tr><td class="n">{when(r["at"], zone, moment)}</td><td class="free" data-label="{text(say("topic"))}">{text(r["topic"], 120)}</td><td class="free" data-label="{text(say("why"))}">{text(r["reason"], 160)}</td><td class="free" data-label="{text(say("message"))}">{text(r["payload"], 80)}</td></tr>'
        for r in rejects["newest"][:5]
    )
    return (
        f'<details class="panel"><summary><h2>{text(title)}</h2></summary><ul>{reasons}</ul>'
        f"{table((say('came'), say('topic'), say('why'), say('message')), rows)}</details>"
    )


def _cautions(cautions: list[str]) -> str:
    return "".join(f'<p class="caution">{text(say(caution))}</p>' for caution in cautions)
