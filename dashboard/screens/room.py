"""A room over time: a day to years of its air against the band of what it holds, places beside each other, gaps as gaps."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import datetime, timedelta
from urllib.parse import quote

import streamlit as st

from dashboard.contact_strips import marked, rows, strips
from dashboard.course import Chart, Point, draw, picture_of, ticks_below
from dashboard.language import say
from dashboard.look import notice, put
from dashboard.parts import cannot_be_read, section, table
from dashboard.plain import label, moment, shown_temperature, text, unit_sign, when
from dashboard.source import Document, Source
from monitor.clock import now
from monitor.site import Room

SPANS = {"day": 1, "week": 7, "month": 30, "quarter": 91, "year": 365, "3 years": 1096}
"""How far back a chart can reach, by name [days]."""
MOST_PLACES = 5
Shown = Callable[[float], float]


def show(source: Source) -> None:
    """Draw the page of the room that the address names, else of the first."""
    rooms = source.site.rooms
    asked = st.query_params.get("room", "")
    room = source.site.room_by_id.get(asked) or rooms[0]
    if asked and room.id != asked:
        words = say("The site file has no room {room}; here is another.", room=asked[:80])
        st.html(notice(f"<b>{text(say('No such room.'))}</b> {text(words)}"))
    st.html(
        f'<h1 class="headline"><b>{text(room.name)}</b> <span class="quiet">{text(say("over time"))}</span></h1>'
    )
    if len(rooms) > 1:
        st.html(f'<p class="pairs">{"".join(_link(other) for other in rooms if other.id != room.id)}</p>')
    days = st.segmented_control(
        say("How far back?"), list(SPANS), format_func=say, default="week", key="span", required=True,
        persist_state="session",
    )  # fmt: skip
    _course(source, room, _places(room), SPANS[days or "week"])


def _link(room: Room) -> str:
    return f'<a class="plain-link" target="_self" href="room?room={quote(room.id)}">{text(room.name, 80)}</a>'


def _places(room: Room) -> list[str]:
    """The places to draw: the whole room, one place, or several beside each other."""
    names = {"": say("whole room"), **{place.id: place.name or place.id for place in room.places}}
    chosen = st.pills(
        say("Where? Tap several to compare."), list(names), format_func=lambda p: label(names[p]), default=[""],
        selection_mode="multi", key=f"place-{room.id}", persist_state="session",
    )  # fmt: skip
    return list(chosen or [""])[:MOST_PLACES]


def _course(source: Source, room: Room, places: list[str], days: int) -> None:
    answers = {place: source.course(room.id, place, days) for place in places}
    first = answers[places[0]]
    for answer in answers.values():
        if answer.fault:
            st.html(cannot_be_read(say("The air cannot be read."), answer))
            break
    documents = {place: a.document for place, a in answers.items() if a.document}
    if not documents:
        return
    document = first.document or next(iter(documents.values()))
    if not any(d["steps"] for d in documents.values()):
        st.html(f'<p class="panel">{text(say("No air was read here in this span."))}</p>')
        return
    charts = _charts(source, room, documents, document)
    start, end = moment(document["from_at"]) or now(), moment(document["to_at"]) or now()
    zone = source.site.site.zone
    happened = _happened(source, room, start, end)
    drawn = "".join(draw(chart, start, end, zone) for chart in charts)
    key = say("Line: mean; soft band: lowest to highest in each step; white: what the wheels here want now.")
    below = ticks_below([(at, words) for at, words, _ in happened], start, end)
    contacts = (source.contacts(room.id, days).document or {}).get("contacts", [])
    switches = strips(contacts, start, end, zone)
    if switches:
        key = f"{key} {say('Strips: when a contact said so, a low mark for a part of the time; a state lasts until it says otherwise, and is unknown while it is silent for long (dashed).')}"
    st.html(f'<div>{drawn}{switches}{below}<p class="quiet">{text(key)}</p></div>')
    with st.container(horizontal=True):
        name = f"{room.id}-{'-'.join(p or 'room' for p in places)}"
        st.download_button(say("Take the figures along (CSV)"), _csv(documents), f"{name}.csv", "text/csv")
        if listed := rows(contacts):
            st.download_button(
                say("Take the strips along (CSV)"), _written(listed), f"{room.id}-contacts.csv", "text/csv"
            )
        st.download_button(
            say("Take the picture along (SVG)"),
            picture_of(room.name, charts, start, end, zone, marked(contacts, start, end)),
            f"{name}.svg",
            "image/svg+xml",
        )
    put(_list_of(happened, source))


def _charts(source: Source, room: Room, documents: dict[str, Document], first: Document) -> list[Chart]:
    unit, bands = source.site.site.display_unit, _bands(source, room.id)
    names = {"": say("whole room"), **{place.id: place.name or place.id for place in room.places}}

    def degrees(value: float) -> float:
        return shown_temperature(value, unit) or 0.0

    found = []
    for name, end, shown, sign, title in (
        ("temperature", "_c", degrees, unit_sign(unit), say("Temperature")),
        ("rh", "_pct", float, "%", say("Humidity")),
    ):
        others = [
            (names.get(place, place), _points(d, f"{name}{end}", shown))
            for place, d in documents.items()
            if d is not first
        ]
        found.append(_chart(first, bands, name, end, shown, sign, title, others))
    return found


def _points(document: Document, name: str, shown: Shown) -> list[Point]:
    return [(at, shown(step[name])) for step in document["steps"] if (at := moment(step["at"]))]


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
    document: Document, bands: Document, name: str, unit: str, shown: Shown, sign: str, title: str,
    others: list[tuple[str, list[Point]]],
) -> Chart:  # fmt: skip
    points = _points(document, f"{name}{unit}", shown)
    timed = [(at, step) for step in document["steps"] if (at := moment(step["at"]))]
    soft = [(at, shown(s[f"{name}_min{unit}"]), shown(s[f"{name}_max{unit}"])) for at, s in timed]
    band = bands.get(f"{name}{unit}")
    wanted = [(at, shown(band[0]), shown(band[1])) for at in _ends(document)] if band else []
    return Chart(
        title, points, wanted, soft if not others else (), sign=sign,
        gap_s=max(2.5 * document["step_s"], 1500.0), more=others,
    )  # fmt: skip


def _ends(document: Document) -> list[datetime]:
    start, end = moment(document["from_at"]), moment(document["to_at"])
    return [start, end + timedelta(minutes=1)] if start and end else []


def _happened(source: Source, room: Room, start: datetime, end: datetime) -> list[tuple[datetime, str, str]]:
    """Alarms of the room and planned work in it: when, in a word, and in full."""
    found = []
    document = source.alarms().document or {}
    for alarm in [*document.get("standing", []), *document.get("recent", [])]:
        at = moment(alarm["since_at"])
        if alarm["room"] == room.id and at and start <= at <= end:
            found.append((at, alarm["what"], alarm["effect"] or ""))
    for work in (source.offered("planned_work").document or {}).get("work", []):
        at = moment(work["from_at"])
        if work["room"] == room.id and at and start <= at <= end:
            found.append((at, say(work["kind"]), work["note"] or ""))
    return sorted(found)


def _list_of(happened: list[tuple[datetime, str, str]], source: Source) -> str:
    if not happened:
        return ""
    zone, at_now = source.site.site.zone, now()
    rows = "".join(
        f'<tr><td class="n">{when(at, zone, at_now)}</td><td class="free"><b>{text(words)}</b> {text(more)}</td></tr>'
        for at, words, more in reversed(happened[-60:])
    )
    return section(say("What happened in this span")) + table((say("when"), say("what")), rows)


def _csv(documents: dict[str, Document]) -> str:
    return _written(
        [{"place": place or "room", **step} for place, d in documents.items() for step in d["steps"]]
    )


def _written(lines: list[Document]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, list(lines[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(lines)
    return out.getvalue()
