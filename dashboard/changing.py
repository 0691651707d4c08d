"""A change to the site file: shown as it will be, written only when told to, with the old file kept beside it."""

from __future__ import annotations

import logging
from collections.abc import Callable

import streamlit as st

from dashboard.language import say
from dashboard.look import notice
from dashboard.plain import text
from dashboard.source import Source
from monitor.errors import MonitorError
from monitor.site import editing

log = logging.getLogger(__name__)
KEPT = "change-proposed"
SAID = "change-said"


def propose(make: Callable[[], editing.Change]) -> None:
    """Work a change out and keep it for the reader to look at; a refusal is said in words."""
    try:
        change = make()
    except MonitorError as error:
        st.html(notice(f"<b>{text(say('That cannot be done.'))}</b> {text(error, 1500)}", "needs-you"))
        return
    st.session_state[KEPT] = change


def review(source: Source) -> None:
    """Show the change that waits, and write it or let it be."""
    if said := st.session_state.pop(SAID, None):
        st.html(notice(text(said, 600), "as-intended", "fine"))
    change: editing.Change | None = st.session_state.get(KEPT)
    if change is None:
        return
    if not change.diff:
        st.session_state.pop(KEPT)
        st.html(notice(text(say("Nothing would change.")), "as-intended", "fine"))
        return
    st.html(notice(f"<b>{text(say('Look at the change. Nothing is written yet.'))}</b>", "needs-you"))
    st.html(difference(change.diff))
    with st.container(horizontal=True):
        if st.button(say("Write it into the site file"), type="primary"):
            _write(source, change)
        if st.button(say("Let it be")):
            st.session_state.pop(KEPT)
            st.rerun()


def difference(diff: str) -> str:
    """A unified diff as HTML, its lines told apart by their signs and by weight."""
    kinds = {"+": "new", "-": "old", "@": "place"}
    lines = "".join(
        f'<span class="{kinds.get(line[:1], "")}">{text(line, 500)}\n</span>'
        for line in diff.splitlines()[:2000]
    )
    return f'<pre class="difference" tabindex="0" role="region" aria-label="{text(say("The change"))}">{lines}</pre>'


def _write(source: Source, change: editing.Change) -> None:
    try:
        who = source.author("set-up", "set up")
        backup = editing.write(change)
    except MonitorError as error:
        st.html(notice(f"<b>{text(say('Not written.'))}</b> {text(error, 1000)}", "needs-you"))
        return
    log.warning("%s wrote %s; before: %s", who, change.path, backup)
    st.session_state.pop(KEPT)
    st.session_state[SAID] = say(
        "Written. The file as it was is kept as {backup}. A monitor that runs takes it up when it is started again.",
        backup=backup.name,
    )
    st.cache_resource.clear()
    st.rerun()
