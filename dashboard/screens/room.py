"""A room over time: a day to years of its air against the band of what it holds, with gaps as gaps."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import datetime, timedelta

import streamlit as st

from dashboard.course import Chart, draw
from dashboard.look import notice
from dashboard.plain import age, moment, shown_temperature, text, unit_sign
from dashboard.source import Document, Source
from monitor.clock import now
from monitor.site import Room

SPANS = {"day": 1, "week": 7, "month": 30, "quarter": 91, "year": 365, "3 years": 1096}
"""How far back a chart can reach, by name [days]."""


def show(source: Source) -> None:
    """Draw the page of the room that the address names, else of the first."""
    rooms = source.site.rooms
    asked = st.query_params.get("room", "")
    room = source.site.room_by_id.get(asked) or rooms[0]
    if asked and room.id != asked:
        st.html(notice(f"<b>No such room.</b> The site file has no room {text(asked, 80)}; here is another."))
    st.html(f'<h1 class="headline"><b>{text(room.name)}</b> <span class="quiet">over time</span></h1>')
    if len(rooms) > 1:
        st.html(f'<p class="pairs">{"".join(_link(other) for other in rooms if other.id != room.id)}</p>')
    days = st.segmented_control(
        "How far back?", list(SPANS), default="week", key="span", required=True, persist_state="session"
    )
    places = {"": "whole room", **{place.id: place.name or place.id for place in room.places}}
    place = st.selectbox("Where?", list(places), format_func=lambda p: places[p], key=f"place-{room.id}")
    _course(source, room.id, place or "", SPANS[days or "week"])


def _link(room: Room) -> str:
    return f'<a class="plain-link" href="room?room={text(room.id)}">{text(room.name, 80)}</a>'


def _course(source: Source, room: str, place: str, days: int) -> None:
    end = now()
    answer = source.course(room, place, days)
    if answer.document is None:
        st.html(notice(f"<b>The air cannot be read.</b> {text(answer.fault)}", "now"))
        return
    if answer.fault:
        st.html(notice(f"<b>Not read anew:</b> {text(answer.fault)} True {age(answer.age_s())}.", "now"))
    document, unit = answer.document, source.site.site.display_unit
    if not document["steps"]:
        st.html('<p class="panel">No air was read here in this span.</p>')
        return
    bands = _bands(source, room)
    start = moment(document["from_at"]) or end
    charts = [
        _chart(
            document, bands, "temperature", "_c", lambda v: shown_temperature(v, unit) or 0.0, unit_sign(unit)
        ),
        _chart(document, bands, "rh", "_pct", float, "%"),
    ]
    drawn = "".join(draw(chart, start, end, source.site.site.zone) for chart in charts)
    key = '<p class="quiet">Line: mean; soft band: lowest to highest in each step; white: what the wheels here want now.</p>'
    st.html(f"<div>{drawn}{key}</div>")
    st.download_button(
        "Take the figures along (CSV)", _csv(document), f"{room}-{place or 'room'}.csv", "text/csv"
    )


def _bands(source: Source, room: str) -> Document:
    """The narrowest band that suits everything in the room now; empty where nothing is, or none suits all."""
    found = [r for r in (source.rooms().document or {"rooms": []})["rooms"] if r["id"] == room]
    bands = found[0]["bands"] if found else []
    if not bands:
        return {}
    shared = {
        k: (max(b[k][0] for b in bands), min(b[k][1] for b in bands)) for k in ("temperature_c", "rh_pct")
    }
    return {k: span for k, span in shared.items() if span[0] < span[1]}


def _chart(
    document: Document, bands: Document, name: str, unit: str, shown: Callable[[float], float], sign: str
) -> Chart:
    timed = [(at, step) for step in document["steps"] if (at := moment(step["at"]))]
    points = [(at, shown(step[f"{name}{unit}"])) for at, step in timed]
    soft = [(at, shown(s[f"{name}_min{unit}"]), shown(s[f"{name}_max{unit}"])) for at, s in timed]
    band = bands.get(f"{name}{unit}")
    ends = _ends(document)
    wanted = [(at, shown(band[0]), shown(band[1])) for at in ends] if band else []
    title = "Temperature" if name == "temperature" else "Humidity"
    return Chart(title, points, wanted, soft, sign=sign, gap_s=max(2.5 * document["step_s"], 1500.0))


def _ends(document: Document) -> list[datetime]:
    start, end = moment(document["from_at"]), moment(document["to_at"])
    return [start, end + timedelta(minutes=1)] if start and end else []


def _csv(document: Document) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, list(document["steps"][0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(document["steps"])
    return out.getvalue()
