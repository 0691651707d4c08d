"""Health: each part of the monitor itself, since when it is well or not, and why."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard.language import say
from dashboard.look import notice, put, shape
from dashboard.panels import since_words
from dashboard.parts import cannot_be_read, cell, section, table
from dashboard.plain import age, day, number, text, when
from dashboard.plain import moment as as_moment
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
    put(_sensors(source, document.get("sensors") or [], zone, moment))


def _sensors(source: Source, sensors: list[dict[str, Any]], zone: ZoneInfo, moment: datetime) -> str:
    """Each sensor's line: what is wrong with it, how far it may have crept in damp air, when it is due."""
    if not sensors:
        return ""
    heads = [
        say("sensor"),
        say("heard"),
        say("what is wrong"),
        say("may read too damp by"),
        say("calibration due"),
    ]
    rows = "".join(
        "<tr>"
        + cell(f"<b>{text(s['id'], 64)}</b> <span class=\"quiet\">{text(_room_name(source, s.get('room')), 80)}</span>", sort="free")
        + cell(text(age(s.get("age_s"))), heads[1], "n")
        + cell(_wrong(s, zone, moment), heads[2], "free")
        + cell("–" if s.get("creep_pct") is None else f"{number(s['creep_pct'])} %", heads[3], "n")
        + cell(_due(s.get("calibration_due_at"), zone, moment), heads[4], "n")
        + "</tr>"
        for s in sensors
    )  # fmt: skip
    return section(say("Sensors")) + table(heads, rows)


def _room_name(source: Source, room: str | None) -> str:
    known = source.site.room_by_id.get(room or "")
    return known.name if known else room or ""


def _wrong(sensor: dict[str, Any], zone: ZoneInfo, moment: datetime) -> str:
    troubles = sensor.get("troubles") or []
    if troubles:
        return "".join(
            f"<p>{shape('needs-you')} <b>{text(t['what'], 200)}</b>, {since_words(t['since_at'], zone, moment)}. {text(t.get('check_first') or '', 300)}</p>"
            for t in troubles
        )
    if sensor.get("silent"):
        return f"{shape('no-reading')} {text(sensor.get('reason') or say('silent'), 200)}"
    return f"{shape('as-intended')} {text(say('nothing'))}"


def _due(at: str | None, zone: ZoneInfo, moment: datetime) -> str:
    due = as_moment(at)
    if due is None:
        return "–"
    late = f"{shape('needs-you')} " if due < moment else ""
    return late + text(day(due, zone, moment))


def _figures(document: dict[str, Any]) -> str:
    disk = document.get("disk") or {}
    left = ""
    if disk.get("free_bytes"):
        words = say("{free} GB left on the disk.", free=number(disk["free_bytes"] / 1e9, 1))
        left = f"<p>{text(words)}</p>"
    intake = document.get("intake")
    return left + (section(say("Intake")) + shown(intake, 1) if intake else "")
