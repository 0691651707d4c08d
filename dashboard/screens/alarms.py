"""Alarms: what stands, what it does to which wheels, what to look at first; and the hand that takes note of it."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard.language import say, say_count
from dashboard.look import notice, shape
from dashboard.parts import cannot_be_read, cell, headline, lost_touch, not_watched, table, wheel_link
from dashboard.plain import text, when
from dashboard.screens import alarm_acts, alarm_record
from dashboard.source import Answer, Source
from monitor.clock import now

REFRESH_S = 5
MOST_WHEELS_NAMED = 8
MOST_STANDING_DRAWN = 40
MOST_MESSAGES_NAMED = 6
OPEN_STATES = alarm_acts.OPEN_STATES
PRIORITY_SHAPES = {"critical": "now", "high": "now", "medium": "needs-you", "low": "needs-you"}
PARTS = {"standing": "Standing", "before": "Before", "work": "Planned work", "figures": "How well they do"}


def show(source: Source) -> None:
    """Draw the page."""
    part = st.segmented_control(
        say("What do you want to see?"),
        list(PARTS),
        format_func=lambda p: say(PARTS[p]),
        default="standing",
        key="alarms-part",
        required=True,
        label_visibility="collapsed",
        persist_state="session",
    )
    if part == "work":
        alarm_record.planned_work(source)
    elif part == "figures":
        alarm_record.figures(source)
    elif part == "before":
        _before(source)
    else:
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
    standing = answer.document["standing"]
    blind = not_watched((source.rooms().document or {}).get("monitor"), zone, moment)
    if blind:
        st.html(blind)
    elif not standing:
        words = say("No alarm needs you. What stood before, and what work is planned, is a tap away above.")
        st.html(f'<p class="panel">{shape("as-intended")} {text(words)}</p>')
    for alarm in standing[:MOST_STANDING_DRAWN]:
        st.html(alarm_panel(alarm, zone, moment))
        alarm_acts.acts(source, alarm)
    if len(standing) > MOST_STANDING_DRAWN:
        more = say("And {count} more standing.", count=len(standing) - MOST_STANDING_DRAWN)
        st.html(f'<p class="quiet">{text(more)}</p>')


def _head(answer: Answer, moment: datetime) -> str:
    parts, words = [], ""
    if answer.document is not None:
        standing = answer.document["standing"]
        waiting = sum(alarm["state"] in OPEN_STATES for alarm in standing)
        words = say("Nothing stands")
        if standing:
            words = say("{count} standing, {waiting} not acknowledged", count=len(standing), waiting=waiting)
    parts.append(headline(say("Alarms"), words))
    parts.append(lost_touch())
    if answer.fault:
        parts.append(cannot_be_read(say("The alarms cannot be read."), answer))
        if not answer.document:
            parts.append(f'<p class="quiet">{text(say("It is not known what stands."))}</p>')
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
    look = (
        f"<p><b>{text(say('Check first:'))}</b> {text(alarm['check_first'])}</p>"
        if alarm["check_first"]
        else ""
    )
    facts = [
        say("{priority} priority", priority=f"<b>{text(say(alarm['priority']))}</b>"),
        say("since {when}", when=f"<b>{when(alarm['since_at'], zone, moment)}</b>"),
        say("raised {when}", when=f"<b>{when(alarm['raised_at'], zone, moment)}</b>"),
        *_message_facts(alarm["messages"], zone, moment),
    ]
    return (
        f'<section class="panel {drawn}" aria-label="{text(say("Alarm"))}: {text(alarm["what"])}"><h2>{shape(drawn)}<span>{text(alarm["what"])}</span></h2>'
        f"<p><b>{where or text(say('The whole site'))}</b> · {state_words(alarm, zone, moment)}</p>{effect}{look}{wheel_links(alarm['wheels'])}"
        f'{_note(alarm)}<div class="pairs">{"".join(f"<span>{fact}</span>" for fact in facts)}</div></section>'
    )


def state_words(alarm: dict[str, Any], zone: ZoneInfo, moment: datetime) -> str:
    """An alarm's state in the words of the open standard, with who and when, as HTML."""
    until = when(alarm.get("until_at"), zone, moment)
    if alarm["state"] == "acknowledged" and not alarm["acknowledged_at"]:
        words = say("answered by {name} with another alarm", name=alarm["acknowledged_by"])
    elif alarm["state"] == "acknowledged":
        words = say(
            "acknowledged by {name}, {when}",
            name=alarm["acknowledged_by"],
            when=when(alarm["acknowledged_at"], zone, moment),
        )
    elif alarm["state"] == "returned-unacknowledged":
        words = say("back to normal {when}, not acknowledged", when=when(alarm["returned_at"], zone, moment))
    elif alarm["state"] == "shelved" and alarm.get("until_at"):
        words = say("shelved until {when}", when=until)
    else:
        words = {
            "unacknowledged": say("not acknowledged"),
            "latched": say("latched: over, but held until acknowledged"),
            "shelved": say("shelved"),
            "suppressed-by-design": say("suppressed by design"),
            "out-of-service": say("out of service"),
        }.get(alarm["state"], str(alarm["state"]))
    return text(words)


def wheel_links(names: list[str]) -> str:
    """The first wheels of a list as links to their pages, and how many more there are."""
    if not names:
        return ""
    links = ", ".join(wheel_link(name) for name in names[:MOST_WHEELS_NAMED])
    more = len(names) - MOST_WHEELS_NAMED
    rest = " " + say("and {count} more", count=more) if more > 0 else ""
    return (
        f"<p><b>{text(say_count('{count} wheel', '{count} wheels', len(names)))}:</b> {links}{text(rest)}</p>"
    )


def _note(alarm: dict[str, Any]) -> str:
    return f"<p><b>{text(say('Note'))}:</b> {text(alarm['note'], 1000)}</p>" if alarm["note"] else ""


def _message_facts(messages: list[dict[str, Any]], zone: ZoneInfo, moment: datetime) -> list[str]:
    """What became of the newest messages: a route that was told several times is named once, with the times."""
    told: dict[str, list[str]] = {}
    others = []
    for message in messages[-MOST_MESSAGES_NAMED:]:
        if message["state"] == "sent":
            times = told.setdefault(message["route"], [])
            times += [at] if (at := when(message["sent_at"], zone, moment)) not in times else []
        else:
            others.append(_untold(message))
    facts = [
        say("told {route} {when}", route=text(route, 60), when=f"<b>{', '.join(times)}</b>")
        for route, times in told.items()
    ]
    return [*facts, *others]


def _untold(message: dict[str, Any]) -> str:
    route = text(message["route"], 60)
    if message["state"] == "failed":
        tried = say("tried {count} times", count=message["attempts"])
        return f"<b>{say('not told {route}', route=route)}</b>: {text(tried)}, {text(message['error'], 120)}"
    if message["state"] == "not-needed":
        return say("{route}: not needed", route=route)
    return say("telling {route}, not sent yet", route=route)


def _before(source: Source) -> None:
    answer, moment, zone = source.alarms(), now(), source.site.site.zone
    st.html(headline(say("Alarms"), say("what stood before")))
    if answer.fault:
        st.html(cannot_be_read(say("The alarms cannot be read."), answer))
    recent = (answer.document or {}).get("recent", [])
    if not recent:
        st.html(f'<p class="panel">{text(say("No alarm has ended yet."))}</p>')
        return
    st.html(_history(recent, zone, moment))
    alarm_record.one_history(source, recent)


def _history(recent: list[dict[str, Any]], zone: ZoneInfo, moment: datetime) -> str:
    heads = [say("since"), say("over"), say("what"), say("where"), say("acknowledged")]
    rows = "".join(
        "<tr>"
        + cell(when(a["since_at"], zone, moment), sort="n")
        + cell(when(a.get("ended_at") or a["returned_at"], zone, moment), heads[1], "n")
        + cell(text(a["what"]), heads[2], "free")
        + cell(text(a["room_name"] or a["room"] or say("the whole site"), 100), heads[3], "free")
        + cell(_acknowledged(a), heads[4], "free")
        + "</tr>"
        for a in recent[:100]
    )
    return table(heads, rows)


def _acknowledged(alarm: dict[str, Any]) -> str:
    if not alarm["acknowledged_by"]:
        return text(say("by nobody"))
    note = f": {text(alarm['note'], 300)}" if alarm["note"] else ""
    return f"{text(say('by {name}', name=alarm['acknowledged_by']))}{note}"
