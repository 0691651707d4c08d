"""Health: each part of the monitor itself, since when it is well or not, and why."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard.language import say
from dashboard.look import notice, put, shape
from dashboard.parts import cannot_be_read, cell, section, table
from dashboard.plain import number, text, when
from dashboard.source import Source
from dashboard.tables import shown
from monitor.clock import now


def show(source: Source) -> None:
    """Draw the part."""
    answer = source.offered("monitor", keep_s=3.0)
    document = answer.document
    if answer.fault or document is None:
        st.html(cannot_be_read(say("The monitor's health cannot be read."), answer))
        return
    zone, moment = source.site.site.zone, now()
    well = document.get("well")
    words = (
        say("The monitor runs, and every part does its work.")
        if well
        else say("Not all is well with the monitor.")
    )
    if not document.get("running"):
        last = document.get("last_beat_at")
        words = say("The monitor is not running.") + (
            " " + say("It was last heard at {when}.", when=when(last, zone, moment)) if last else ""
        )
    st.html(notice(f"<b>{text(words)}</b>", "as-intended" if well else "now", "fine" if well else ""))
    heads = [say("part"), say("state"), say("since"), say("says")]
    rows = "".join(
        "<tr>" + cell(f"<b>{text(say(name))}</b>") + cell(f"{shape('as-intended' if part.get('ok') else 'needs-you')} {text(say('well') if part.get('ok') else say('not well'))}", heads[1], "n")
        + cell(when(part.get("since_at"), zone, moment), heads[2], "n") + cell(text(part.get("detail") or "", 300), heads[3], "free") + "</tr>"
        for name, part in (document.get("parts") or {}).items()
    )  # fmt: skip
    put((table(heads, rows) if rows else "") + _figures(document))


def _figures(document: dict[str, Any]) -> str:
    disk = document.get("disk") or {}
    left = ""
    if disk.get("free_bytes"):
        words = say("{free} GB left on the disk.", free=number(disk["free_bytes"] / 1e9, 1))
        left = f"<p>{text(words)}</p>"
    intake = document.get("intake")
    return left + (section(say("Intake")) + shown(intake, 1) if intake else "")
