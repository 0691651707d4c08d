"""Messages: who is told of alarms, and a test message to each."""

from __future__ import annotations

import os

import streamlit as st

from dashboard.language import say
from dashboard.look import notice, shape
from dashboard.parts import cell, table
from dashboard.plain import label, text
from dashboard.source import Source
from monitor.alarms.testing_routes import send_test
from monitor.errors import MonitorError
from monitor.site import Route


def show(source: Source) -> None:
    """Draw the part."""
    routes = source.site.routes
    if not routes:
        words = say(
            "Nobody is told of alarms: the site file has no [[route]]. Alarms stand on these pages alone."
        )
        st.html(notice(text(words), "needs-you"))
        return
    heads = [say("route"), say("who"), say("from which priority"), say("address")]
    st.html(table(heads, "".join(_row(route, heads) for route in routes)))
    names = [route.name for route in routes]
    route = st.selectbox(say("Send a test message to"), names, format_func=label, key="test-route")
    if st.button(say("Send it"), type="primary") and route:
        _send(source, route)


def _row(route: Route, heads: list[str]) -> str:
    held = bool(os.environ.get(route.address_env))
    state = (
        say("held by {name}", name=route.address_env)
        if held
        else say("{name} is not set here", name=route.address_env)
    )
    return (
        "<tr>" + cell(f"<b>{text(route.name)}</b>", sort="free") + cell(text(route.person or "–", 80), heads[1], "free")
        + cell(text(say(route.least_priority)), heads[2], "n")
        + cell(f"{shape('as-intended' if held else 'needs-you')} {text(state)}", heads[3], "free") + "</tr>"
    )  # fmt: skip


def _send(source: Source, route: str) -> None:
    try:
        source.author("set-up", "set up")
        outcomes = list(send_test(source.site, route))
    except MonitorError as error:
        st.html(notice(f"<b>{text(say('Not sent.'))}</b> {text(error, 600)}", "needs-you"))
        return
    for outcome in outcomes:
        st.html(notice(text(outcome, 400), "as-intended" if outcome.taken else "needs-you", "fine"))
