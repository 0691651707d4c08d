"""The record of alarms: what happened to one, how well they do, and planned work that keeps them quiet."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import streamlit as st

from dashboard.language import say
from dashboard.look import notice
from dashboard.naming import ask_name, may_record
from dashboard.parts import cannot_be_read, cell, headline, section, table
from dashboard.plain import label, number, text, when
from dashboard.source import Source
from monitor.clock import now, to_ms
from monitor.errors import MonitorError

DAYS = 30
WORK_KINDS = {
    "washing": "washing", "loading": "loading", "defrost": "defrost", "calibration": "calibration",
}  # fmt: skip
WORK_HOURS = {"1 hour": 1, "2 hours": 2, "4 hours": 4, "8 hours": 8, "1 day": 24}
FIGURES = (
    ("raised_per_day", "raised a day"), ("most_in_ten_minutes", "most in ten minutes"), ("floods", "floods"),
    ("share_of_time_in_flood_pct", "% of the time in a flood"), ("chattering", "chattering"), ("stale", "standing over a day"),
    ("share_of_top_ten_pct", "% of all from the ten busiest"), ("never_acknowledged", "never acknowledged"),
)  # fmt: skip


def one_history(source: Source, recent: list[dict[str, Any]]) -> None:
    """All that happened to one alarm, chosen from a list."""
    zone, moment = source.site.site.zone, now()
    names = {a["id"]: f"{when(a['since_at'], zone, moment)} · {a['what']}" for a in recent[:100]}
    chosen = st.selectbox(
        say("All that happened to"), list(names), index=None, format_func=lambda i: label(names[i]), key="alarm-history",
        placeholder=say("choose an alarm"),
    )  # fmt: skip
    if chosen is None:
        return
    answer = source.offered("alarm_history", chosen)
    if answer.document is None:
        st.html(cannot_be_read(say("This alarm cannot be read."), answer))
        return
    heads = [say("when"), say("what happened"), say("by"), say("note")]
    rows = "".join(
        "<tr>"
        + cell(when(step["at"], zone, moment), sort="n")
        + cell(f"<b>{text(say(step['event']))}</b> {text(step.get('what') or '')}", heads[1], "free")
        + cell(text(step.get("person") or "–", 80), heads[2], "free")
        + cell(text(step.get("note") or "", 1000), heads[3], "free")
        + "</tr>"
        for step in answer.document["steps"]
    )
    st.html(table(heads, rows))


def figures(source: Source) -> None:
    """How well the alarms do, beside figures of others."""
    st.html(headline(say("Alarms"), say("how well they do, the last {days} days", days=DAYS)))
    answer = source.offered("alarm_statistics", float(DAYS), keep_s=60.0)
    document = answer.document
    if document is None:
        st.html(cannot_be_read(say("The figures cannot be read."), answer))
        return
    others = {r["name"]: r for r in document.get("references", [])}
    heads = [say("what"), say("here"), say("elsewhere, at most")]
    rows = "".join(
        "<tr>" + cell(text(say(words)), sort="free") + cell(_figure(document.get(name)), heads[1], "n")
        + cell(_reference(others.get(name)), heads[2], "free") + "</tr>"
        for name, words in FIGURES if name in document
    )  # fmt: skip
    answered = document.get("minutes_to_acknowledge") or {}
    middle = answered.get("median") if isinstance(answered, dict) else None
    told = (
        say("Half of them were acknowledged within {minutes} min.", minutes=number(middle, 0))
        if middle
        else ""
    )
    caution = say("Those figures are of process plants watched around the clock; a dairy wants far fewer.")
    st.html(f"<div>{table(heads, rows)}<p>{text(told)}</p><p class='caution'>{text(caution)}</p></div>")


def _figure(value: Any) -> str:
    return number(value, 0 if isinstance(value, int) else 1) if isinstance(value, int | float) else "–"


def _reference(other: dict[str, Any] | None) -> str:
    if other is None:
        return "–"
    return f"{text(other['at_most'])} <span class='quiet'>({text(other['source'], 200)})</span>"


def planned_work(source: Source) -> None:
    """Planned work under way and to come, and a form that enters some."""
    st.html(headline(say("Planned work"), say("keeps alarms of the air quiet while it lasts")))
    answer, zone, moment = source.offered("planned_work", keep_s=5.0), source.site.site.zone, now()
    if answer.fault:
        st.html(cannot_be_read(say("Planned work cannot be read."), answer))
    works = (answer.document or {}).get("work", [])
    if not works and answer.document is not None:
        st.html(f'<p class="panel">{text(say("None is planned for the next two weeks."))}</p>')
    heads = [say("where"), say("what"), say("from"), say("until"), say("by")]
    rows = "".join(
        "<tr>" + cell(text(w["room_name"], 80), sort="free") + cell(text(say(w["kind"])) + (f" <b>{text(say('under way'))}</b>" if w["under_way"] else ""), heads[1], "free")
        + cell(when(w["from_at"], zone, moment), heads[2], "n") + cell(when(w["until_at"], zone, moment), heads[3], "n")
        + cell(f"{text(w['person'] or '–', 80)} {text(w['note'] or '', 300)}", heads[4], "free") + "</tr>"
        for w in works
    )  # fmt: skip
    if rows:
        st.html(table(heads, rows))
    if may_record(source):
        _end_forms(source, works)
        _work_form(source)


def _end_forms(source: Source, works: list[dict[str, Any]]) -> None:
    for work in works:
        if work["under_way"] and work["id"] is not None:
            what = say("{work} in {room} is over", work=say(work["kind"]), room=label(work["room_name"]))
            if st.button(what, key=f"end-{work['id']}"):
                _write(source, "end_work", st.session_state.get("work-person", ""), work["id"])


def _work_form(source: Source) -> None:
    rooms = {room.id: room.name for room in source.site.rooms}
    st.html(section(say("Begin work now")))
    with st.form("work", border=True):
        room = st.selectbox(say("Room"), list(rooms), format_func=lambda r: label(rooms[r]), key="work-room")
        kind = st.pills(
            say("What work?"), list(WORK_KINDS), format_func=say, default="washing", key="work-kind"
        )
        hours = st.pills(
            say("For how long?"), list(WORK_HOURS), format_func=say, default="2 hours", key="work-hours"
        )
        note = st.text_input(say("Note (may stay empty)"), key="work-note", max_chars=2000)
        name = ask_name(source, "work-person")
        if st.form_submit_button(say("Begin"), type="primary"):
            until = now() + timedelta(hours=WORK_HOURS[hours or "2 hours"])
            _write(
                source, "plan_work", name, room, kind or "washing", until_ms=to_ms(until), note=note.strip()
            )


def _write(source: Source, step: str, name: str, *about: Any, **said: Any) -> None:
    try:
        source.alarm_step(step, name, *about, **said)
    except MonitorError as error:
        st.html(notice(f"<b>{text(say('Not done.'))}</b> {text(error)}", "needs-you"))
        return
    st.rerun()
