"""What a person does to a standing alarm: acknowledge, note, shelve, take out of service, and back again."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import streamlit as st

from dashboard.language import say
from dashboard.look import notice
from dashboard.naming import ask_name, may_record
from dashboard.plain import text
from dashboard.source import Source
from monitor.clock import now, to_ms
from monitor.errors import MonitorError

OPEN_STATES = ("unacknowledged", "returned-unacknowledged", "latched")
"""States in which an alarm still waits for a person to acknowledge it."""
SHELVE_FOR = {"1 hour": 1, "4 hours": 4, "12 hours": 12, "1 day": 24, "3 days": 72}
"""How long an alarm can be put aside, by name [h]; it comes back by itself."""


def acts(source: Source, alarm: dict[str, Any]) -> None:
    """The forms below an alarm's panel, for who may use them."""
    if not may_record(source):
        return
    if alarm["state"] in OPEN_STATES:
        _acknowledge_form(source, alarm)
    with st.expander(say("Note, shelve, take out of service")):
        _further(source, alarm)


def _acknowledge_form(source: Source, alarm: dict[str, Any]) -> None:
    key = f"acknowledge-{alarm['id']}"
    with st.form(key, border=False), st.container(horizontal=True, vertical_alignment="bottom"):
        name = ask_name(source, f"{key}-person")
        note = st.text_input(say("Note (may stay empty)"), key=f"{key}-note", max_chars=2000)
        if st.form_submit_button(say("Acknowledge"), type="primary"):
            done = say("Acknowledged by {name}: {what}.", name=name, what=alarm["what"])
            _do(source, "acknowledge", name, done, alarm, note=note.strip())


def _further(source: Source, alarm: dict[str, Any]) -> None:
    key, state = f"further-{alarm['id']}", alarm["state"]
    choices = ["add_note", *{
        "shelved": ["unshelve", "take_out"], "suppressed-by-design": ["take_out"], "out-of-service": ["put_back"],
    }.get(state, ["shelve", "take_out"])]  # fmt: skip
    if state == "latched" and alarm["acknowledged_at"]:
        choices.append("reset")
    words = {
        "add_note": say("Write a note"), "shelve": say("Shelve: quiet for a while"), "unshelve": say("Bring back now"),
        "take_out": say("Take out of service"), "put_back": say("Put back into service"), "reset": say("Let it end"),
    }  # fmt: skip
    step = st.pills(say("What do you do?"), choices, format_func=lambda c: words[c], key=f"{key}-step")
    if step is None:
        return
    said: dict[str, Any] = {}
    if step == "shelve":
        hours = st.pills(
            say("For how long?"), list(SHELVE_FOR), format_func=say, key=f"{key}-hours", default="4 hours"
        )
        said["until_ms"] = to_ms(now() + timedelta(hours=SHELVE_FOR[hours or "4 hours"]))
    said["note"] = st.text_input(say("Note"), key=f"{key}-note", max_chars=2000).strip()
    name = ask_name(source, f"{key}-person")
    if st.button(words[step], key=f"{key}-do", type="primary"):
        _do(source, step, name, say("Done: {what}.", what=alarm["what"]), alarm, **said)


def _do(source: Source, step: str, name: str, done: str, alarm: dict[str, Any], **said: Any) -> None:
    try:
        source.alarm_step(step, name, alarm["id"], **said)
    except MonitorError as error:
        said_words = say("What you typed still stands.")
        st.html(notice(f"<b>{text(say('Not done.'))}</b> {text(error)} {text(said_words)}", "needs-you"))
        return
    st.session_state["person-known"] = name
    st.session_state["alarm-said"] = done
    st.rerun()
