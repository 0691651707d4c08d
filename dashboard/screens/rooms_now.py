"""Rooms now: is it all right, and if not, what do I do?  Refreshes by itself and says when it is blind."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard.look import notice
from dashboard.panels import room_panel
from dashboard.plain import age, text, when
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
    answer, moment, zone = source.rooms(), now(), source.site.site.zone
    document = answer.document
    st.html(_head(answer, moment, zone))
    if document is None:
        return
    unit, late_s = document["site"]["display_unit"], answer.age_s()
    old = late_s > LATE_AFTER_S
    rooms = [{**room, "stale": True} if old else room for room in document["rooms"]]
    panels = "".join(room_panel(room, unit, zone, moment, late_s) for room in sorted(rooms, key=_urgency))
    st.html(f'<main class="rooms" data-drawn="{moment:%H%M%S%f}">{panels}</main>')
    st.html(f"<div>{_rejects(document['rejects'], zone, moment)}{_cautions(document['cautions'])}</div>")


def _urgency(room: dict[str, Any]) -> int:
    order = ("now", "needs-you", "no-reading", "as-intended", "no-wheels")
    return order.index(room["state"]) if room["state"] in order else 1


def _head(answer: Answer, moment: datetime, zone: ZoneInfo) -> str:
    local = moment.astimezone(zone)
    document = answer.document
    site = "" if document is None else f' <span class="quiet">· {text(document["site"]["name"], 80)}</span>'
    count = "" if document is None else counted(document["rooms"])
    line = f'<h1 class="headline" style="font-weight:400"><b>{local:%A %H:%M}</b> {count}{site}</h1>'
    lost = notice(
        "This page has lost touch with its server. What stands below is old.", "no-reading", "lost-touch"
    )
    return f'<div data-drawn="{moment:%H%M%S%f}">{line}{lost}{_blindness(answer, moment, zone)}</div>'


def counted(rooms: list[dict[str, Any]]) -> str:
    """How many rooms are in which state, worst first: '1 room needs you, 2 are as intended'."""
    words = (
        ("now", "needs you now", "need you now"), ("needs-you", "needs you", "need you"),
        ("no-reading", "has no fresh reading", "have no fresh reading"),
        ("as-intended", "is as intended", "are as intended"), ("no-wheels", "holds no wheels", "hold no wheels"),
    )  # fmt: skip
    parts: list[str] = []
    for state, one, many in words:
        count = sum(room["state"] == state for room in rooms)
        if count:
            noun = ("room " if count == 1 else "rooms ") if not parts else ""
            parts.append(f"{count} {noun}{one if count == 1 else many}")
    return ", ".join(parts) or "no rooms in the site file"


def _blindness(answer: Answer, moment: datetime, zone: ZoneInfo) -> str:
    """What keeps the page from knowing, in words; nothing where it knows."""
    parts = []
    if answer.fault:
        old = f" What stands below was true {age(answer.age_s())}." if answer.document else ""
        parts.append(notice(f"<b>The rooms cannot be read.</b> {text(answer.fault)}{old}", "now"))
    monitor = (answer.document or {}).get("monitor")
    if monitor and not monitor["running"]:
        since = when(monitor["last_beat_at"], zone, moment) if monitor["last_beat_at"] else None
        words = (
            f"It was last heard at {since}. Nothing is watched and no alarm is sent until it runs again."
            if since
            else "It has not run yet; nothing is watched."
        )
        parts.append(
            notice(
                f"<b>The monitor is not running.</b> {words} Start it with: <b>maturing-room run</b>",
                "now" if since else "no-reading",
            )
        )
    return "".join(parts)


def _rejects(rejects: dict[str, Any], zone: ZoneInfo, moment: datetime) -> str:
    if not rejects["total"]:
        return ""
    reasons = "".join(
        f"<li>{count} × {text(reason)}</li>"
        for reason, count in sorted(rejects["by_reason"].items(), key=lambda kv: -kv[1])[:8]
    )
    rows = "".join(
        f'<tr><td class="n">{when(r["at"], zone, moment)}</td><td class="free" data-label="topic">{text(r["topic"], 120)}</td><td class="free" data-label="why">{text(r["reason"], 160)}</td><td class="free" data-label="message">{text(r["payload"], 80)}</td></tr>'
        for r in rejects["newest"][:5]
    )
    return (
        f'<div class="panel"><h2>{rejects["total"]} messages could not be read</h2><ul>{reasons}</ul>'
        f'<table class="sheet"><thead><tr><th>came</th><th>topic</th><th>why</th><th>message</th></tr></thead><tbody>{rows}</tbody></table></div>'
    )


def _cautions(cautions: list[str]) -> str:
    return "".join(f'<p class="caution">{text(caution)}</p>' for caution in cautions)
