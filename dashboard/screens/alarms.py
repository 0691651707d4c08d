"""Alarms: what stands, what it does to which wheels, what to look at first; and the hand that takes note of it."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard.look import notice, shape
from dashboard.plain import age, text, when
from dashboard.source import Answer, Source
from monitor.clock import now
from monitor.errors import MonitorError

REFRESH_S = 5
MOST_WHEELS_NAMED = 8
OPEN_STATES = ("unacknowledged", "returned-unacknowledged", "latched")
"""States in which an alarm still waits for a person to acknowledge it."""
PRIORITY_SHAPES = {"critical": "now", "high": "now", "medium": "needs-you", "low": "needs-you"}


def show(source: Source) -> None:
    """Draw the page."""
    _alarms(source)


@st.fragment(run_every=REFRESH_S)
def _alarms(source: Source) -> None:
    answer, moment, zone = source.alarms(), now(), source.site.site.zone
    st.html(_head(answer, moment))
    said = st.session_state.pop("alarm-said", None)
    if said:
        st.html(notice(text(said), "as-intended", "fine"))
    if answer.document is None:
        return
    for alarm in answer.document["standing"]:
        st.html(alarm_panel(alarm, zone, moment))
        if alarm["state"] in OPEN_STATES:
            _acknowledge_form(source, alarm)
    st.html(_history(answer.document["recent"], zone, moment))


def _head(answer: Answer, moment: datetime) -> str:
    parts = []
    if answer.document is not None:
        standing = answer.document["standing"]
        waiting = sum(alarm["state"] in OPEN_STATES for alarm in standing)
        words = f"{len(standing)} standing, {waiting} not acknowledged" if standing else "Nothing stands"
        parts.append(f'<h1 class="headline" style="font-weight:400"><b>Alarms</b> {words}</h1>')
    else:
        parts.append('<h1 class="headline">Alarms</h1>')
    parts.append(
        notice(
            "This page has lost touch with its server. What stands below is old.", "no-reading", "lost-touch"
        )
    )
    if answer.fault:
        old = (
            f" What stands below was true {age(answer.age_s())}."
            if answer.document
            else " It is not known what stands."
        )
        parts.append(notice(f"<b>The alarms cannot be read.</b> {text(answer.fault)}{old}", "now"))
    return f'<div data-drawn="{moment:%H%M%S%f}">{"".join(parts)}</div>'


def alarm_panel(alarm: dict[str, Any], zone: ZoneInfo, moment: datetime) -> str:
    """A standing alarm as HTML."""
    # What is back to normal still waits for a person, but nothing is wrong now: it has lost its colour.
    seen = alarm["state"] not in OPEN_STATES or alarm["state"] == "returned-unacknowledged"
    drawn = "seen" if seen else PRIORITY_SHAPES.get(alarm["priority"], "needs-you")
    where = " · ".join(
        text(part)
        for part in (alarm["room_name"] or alarm["room"], alarm["place"], alarm["sensor"], alarm["wheel"])
        if part
    )
    effect = f"<p>{text(alarm['effect'])}</p>" if alarm["effect"] else ""
    look = f"<p><b>Look first:</b> {text(alarm['check_first'])}</p>" if alarm["check_first"] else ""
    facts = [
        f"<span><b>{text(alarm['priority'])}</b> priority</span>", f"<span>since <b>{when(alarm['since_at'], zone, moment)}</b></span>",
        f"<span>raised <b>{when(alarm['raised_at'], zone, moment)}</b></span>", *_message_facts(alarm["messages"], zone, moment),
    ]  # fmt: skip
    return (
        f'<section class="panel {drawn}" aria-label="Alarm: {text(alarm["what"])}"><h2>{shape(drawn)}<span>{text(alarm["what"])}</span></h2>'
        f"<p><b>{where or 'The whole site'}</b> · {state_words(alarm, zone, moment)}</p>{effect}{look}{wheel_links(alarm['wheels'])}"
        f'{_note(alarm)}<div class="pairs">{"".join(facts)}</div></section>'
    )


def state_words(alarm: dict[str, Any], zone: ZoneInfo, moment: datetime) -> str:
    """An alarm's state in the words of the open standard, with who and when."""
    if alarm["state"] == "acknowledged":
        return f"acknowledged by {text(alarm['acknowledged_by'], 80)}, {when(alarm['acknowledged_at'], zone, moment)}"
    if alarm["state"] == "returned-unacknowledged":
        return f"back to normal {when(alarm['returned_at'], zone, moment)}, not acknowledged"
    return {
        "unacknowledged": "not acknowledged", "latched": "latched: over, but held until acknowledged", "shelved": "shelved",
        "suppressed-by-design": "suppressed by design", "out-of-service": "out of service",
    }.get(alarm["state"], text(alarm["state"]))  # fmt: skip


def wheel_links(names: list[str]) -> str:
    """The first wheels of a list as links to their pages, and how many more there are."""
    if not names:
        return ""
    links = ", ".join(
        f'<a class="plain-link" href="wheel?wheel={quote(name)}">{text(name, 60)}</a>'
        for name in names[:MOST_WHEELS_NAMED]
    )
    more = f" and {len(names) - MOST_WHEELS_NAMED} more" if len(names) > MOST_WHEELS_NAMED else ""
    return f"<p><b>{'Wheel' if len(names) == 1 else f'{len(names)} wheels'}:</b> {links}{more}</p>"


def _note(alarm: dict[str, Any]) -> str:
    return f"<p><b>Note:</b> {text(alarm['note'], 1000)}</p>" if alarm["note"] else ""


def _message_facts(messages: list[dict[str, Any]], zone: ZoneInfo, moment: datetime) -> list[str]:
    facts = []
    for message in messages[-4:]:
        route = text(message["route"], 60)
        if message["state"] == "sent":
            facts.append(f"<span>told {route} <b>{when(message['sent_at'], zone, moment)}</b></span>")
        elif message["state"] == "failed":
            facts.append(
                f"<span><b>not told {route}</b>: tried {message['attempts']} times, {text(message['error'], 120)}</span>"
            )
        else:
            facts.append(f"<span>telling {route}, not sent yet</span>")
    return facts


def _acknowledge_form(source: Source, alarm: dict[str, Any]) -> None:
    key = f"acknowledge-{alarm['id']}"
    with st.form(key, border=False), st.container(horizontal=True, vertical_alignment="bottom"):
        name = st.text_input(
            "Your name",
            key=f"{key}-person",
            value=st.session_state.get("person-known", ""),
            max_chars=300,
            autocomplete="name",
        )
        note = st.text_input("Note (may stay empty)", key=f"{key}-note", max_chars=2000)
        if st.form_submit_button("Acknowledge", type="primary"):
            _acknowledge(source, alarm, name, note)


def _acknowledge(source: Source, alarm: dict[str, Any], name: str, note: str) -> None:
    try:
        source.acknowledge(alarm["id"], name, note)
    except MonitorError as error:
        st.html(notice(f"<b>Not acknowledged.</b> {text(error)} What you typed still stands.", "needs-you"))
        return
    st.session_state["person-known"] = name
    st.session_state["alarm-said"] = f"Acknowledged by {name}: {alarm['what']}."
    st.rerun()


def _history(recent: list[dict[str, Any]], zone: ZoneInfo, moment: datetime) -> str:
    if not recent:
        return '<h2 class="section">What stood before</h2><p class="quiet">Nothing yet.</p>'
    rows = "".join(
        f'<tr><td class="n">{when(a["since_at"], zone, moment)}</td><td class="n" data-label="over">{when(a.get("ended_at") or a["returned_at"], zone, moment)}</td>'
        f'<td class="free" data-label="what">{text(a["what"])}</td><td class="free" data-label="where">{text(a["room_name"] or a["room"] or "the whole site", 100)}</td><td class="free" data-label="acknowledged">{_acknowledged(a)}</td></tr>'
        for a in recent[:100]
    )
    return (
        '<h2 class="section">What stood before</h2><table class="sheet"><thead><tr><th>since</th><th>over</th><th>what</th><th>where</th><th>acknowledged</th></tr></thead>'
        f"<tbody>{rows}</tbody></table>"
    )


def _acknowledged(alarm: dict[str, Any]) -> str:
    if not alarm["acknowledged_by"]:
        return "by nobody"
    note = f": {text(alarm['note'], 300)}" if alarm["note"] else ""
    return f"by {text(alarm['acknowledged_by'], 80)}{note}"
