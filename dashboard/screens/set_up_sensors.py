"""Sensors: those that send and have no name here yet, and where each named one stands."""

from __future__ import annotations

import re
from collections import OrderedDict
from typing import Any

import streamlit as st
import tomlkit

from dashboard import changing
from dashboard.language import say, say_count
from dashboard.look import notice, shape
from dashboard.parts import cell, section, table
from dashboard.plain import age, label, number, text, when
from dashboard.source import Source
from monitor.clock import from_ms, now
from monitor.errors import MonitorError
from monitor.records import Reject
from monitor.site import Room, editing

UNKNOWN = "unknown topic"
MOST_LOOKED_AT = 1000
MOST_SHOWN = 30
_OURS = re.compile(r"maturing/([A-Za-z0-9][A-Za-z0-9._-]{0,63})/(senml|json|number)")


def show(source: Source) -> None:
    """Draw the part."""
    changing.review(source)
    _unnamed(source)
    _named(source)


def unnamed(rejects: list[Reject]) -> list[dict[str, Any]]:
    """Topics that something sends on and no sensor of the site file has, the newest heard first."""
    found: OrderedDict[str, dict[str, Any]] = OrderedDict()
    for reject in sorted(rejects, key=lambda r: -r.time_ms):
        if reject.reason == UNKNOWN:
            row = found.setdefault(
                reject.topic,
                {
                    "topic": reject.topic,
                    "count": 0,
                    "at": from_ms(reject.time_ms),
                    "payload": reject.payload[:160],
                },
            )
            row["count"] += 1
    return list(found.values())


def _unnamed(source: Source) -> None:
    st.html(section(say("Seen, and not yet named")))
    try:
        taken = {sensor.full_topic for sensor in source.site.sensors}
        rows = [r for r in unnamed(source.parts.store.rejects(MOST_LOOKED_AT)) if r["topic"] not in taken]
    except MonitorError as error:
        st.html(notice(text(error, 600), "now"))
        return
    if not rows:
        words = say("None. What sends below maturing/ and is not in the site file shows up here by itself.")
        st.html(f'<p class="quiet">{text(words)}</p>')
        return
    heads, zone, moment = (
        [say("topic"), say("heard"), say("last"), say("it says")],
        source.site.site.zone,
        now(),
    )
    drawn = "".join(
        "<tr>"
        + cell(f"<b>{text(r['topic'], 200)}</b>", sort="free")
        + cell(text(say_count("{count} time", "{count} times", r["count"])), heads[1], "n")
        + cell(when(r["at"], zone, moment), heads[2], "n")
        + cell(text(r["payload"].decode("utf-8", "replace"), 160), heads[3], "free")
        + "</tr>"
        for r in rows[:MOST_SHOWN]
    )
    st.html(table(heads, drawn))
    topics = [r["topic"] for r in rows[:MOST_SHOWN]]
    topic = st.selectbox(
        say("Name one and place it"), topics, index=None, format_func=label, placeholder=say("choose a topic"), key="new-topic",
        persist_state="session",
    )  # fmt: skip
    if topic:
        _name_it(source, topic)


def _name_it(source: Source, topic: str) -> None:
    ours = _OURS.fullmatch(topic)
    with st.form(f"name-{topic}"):
        name = st.text_input(
            say("Name of the sensor (letters, digits, - _ .)"), value=ours[1] if ours else "", max_chars=64
        )
        where = st.selectbox(
            say("Where does it hang?"), _spots(source), format_func=lambda s: label(_spot_words(source, s))
        )
        every = st.number_input(say("It sends every so many seconds"), value=60)
        if st.form_submit_button(say("Show the change"), type="primary") and where:
            path = source.site.path
            changing.propose(
                lambda: editing.proposed(path, lambda d: _add(d, name, where, float(every), topic))
            )
            st.rerun()


def _add(document: tomlkit.TOMLDocument, name: str, where: tuple[str, str], every: float, topic: str) -> None:
    sensor = tomlkit.table()
    kind = topic.rsplit("/", 1)[-1]
    sensor.update({"id": name.strip(), "room": where[0], "place": where[1], "interval_s": every})
    if kind in ("json", "number"):
        sensor["payload"] = kind
    if topic != f"maturing/{name.strip()}/{kind if kind in ('senml', 'json', 'number') else 'senml'}":
        sensor["topic"] = topic
    if "sensor" not in document:
        document["sensor"] = tomlkit.aot()
    document["sensor"].append(sensor)  # type: ignore[union-attr]


def _spots(source: Source) -> list[tuple[str, str]]:
    return [(room.id, place.id) for room in source.site.rooms for place in room.places]


def _spot_words(source: Source, spot: tuple[str, str]) -> str:
    room: Room = source.site.room_by_id[spot[0]]
    return f"{room.name}, {next((p.name or p.id for p in room.places if p.id == spot[1]), spot[1])}"


def _named(source: Source) -> None:
    st.html(section(say("Named")))
    if not source.site.sensors:
        st.html(f'<p class="quiet">{text(say("No sensor has a name yet."))}</p>')
        return
    heard = {
        s["id"]: s for room in (source.rooms().document or {"rooms": []})["rooms"] for s in room["sensors"]
    }
    heads = [say("sensor"), say("where"), say("heard"), say("state"), say("battery")]
    rows = "".join(
        "<tr>"
        + cell(f"<b>{text(sensor.id, 64)}</b>", sort="free")
        + cell(text(_spot_words(source, (sensor.room, sensor.place))), heads[1], "free")
        + _state(heard.get(sensor.id, {}), heads)
        + "</tr>"
        for sensor in source.site.sensors
    )
    st.html(table(heads, rows))
    _move(source)


def _state(sensor: dict[str, Any], heads: list[str]) -> str:
    silent = sensor.get("silent", True)
    words = sensor.get("reason") or (say("silent") if silent else say("well"))
    battery = sensor.get("battery_pct")
    return (
        cell(text(age(sensor.get("age_s"))), heads[2], "n")
        + cell(f"{shape('needs-you' if silent else 'as-intended')} {text(words, 200)}", heads[3], "free")
        + cell(f"{number(battery, 0)} %" if battery is not None else "–", heads[4], "n")
    )


def _move(source: Source) -> None:
    with st.expander(say("Place a sensor elsewhere")), st.form("move-sensor", border=False):
        sensor = st.selectbox(say("Sensor"), [s.id for s in source.site.sensors], format_func=label)
        where = st.selectbox(
            say("Where does it hang?"), _spots(source), format_func=lambda s: label(_spot_words(source, s))
        )
        warning = say(
            "What it read before counts for the new place as well: give it a new name if that would be wrong."
        )
        st.html(f'<p class="quiet">{text(warning)}</p>')
        if st.form_submit_button(say("Show the change"), type="primary") and sensor and where:
            path = source.site.path
            changing.propose(lambda: editing.proposed(path, lambda d: _place(d, sensor, where)))
            st.rerun()


def _place(document: tomlkit.TOMLDocument, sensor: str, where: tuple[str, str]) -> None:
    for row in document.get("sensor", []):
        if row["id"] == sensor:
            row["room"], row["place"] = where
