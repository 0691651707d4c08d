"""Calibration, walked through: over salts or in ice, what it should read, what it read, and the entry that results."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import changing
from dashboard.language import say
from dashboard.look import notice
from dashboard.parts import cell, table
from dashboard.plain import day, label, number, text
from dashboard.source import Source
from monitor.clock import now
from monitor.errors import MonitorError
from monitor.intake import calibration_guide

QUANTITIES = ("humidity", "temperature")
KEEP: Any = {"persist_state": "session"}

READ = (-20.0, 110.0)
"""What a sensor can have read over a salt [%] or in ice [degC], however wrong it is."""


def show(source: Source) -> None:
    """Draw the part."""
    changing.review(source)
    sensors = [s.id for s in source.site.sensors if set(QUANTITIES) & set(s.quantities)]
    if not sensors:
        st.html(f'<p class="panel">{text(say("No sensor has a name yet."))}</p>')
        return
    with st.container(horizontal=True, vertical_alignment="bottom"):
        sensor = (
            st.selectbox(say("Sensor"), sensors, format_func=label, key="calibrate-sensor", **KEEP)
            or sensors[0]
        )
        able = [q for q in QUANTITIES if q in source.site.sensor_by_id[sensor].quantities]
        quantity = st.segmented_control(
            say("What?"), able, format_func=say, default=able[0], key=f"calibrate-what-{sensor}", required=True, **KEEP
        ) or able[0]  # fmt: skip
        air = st.number_input(
            say("Temperature where it is done, °C"),
            value=20.0,
            step=0.5,
            key="calibrate-air",
            **KEEP,
        )
    try:
        guide = calibration_guide.guide(
            source.site, source.site.sensor_by_id[sensor], quantity, float(air), now()
        )
    except MonitorError as error:
        st.html(notice(text(error, 600), "needs-you"))
        return
    _when(guide, source)
    _steps(guide)
    _readings(source, guide)


def _when(guide: dict[str, Any], source: Source) -> None:
    zone, moment = source.site.site.zone, now()
    last = say("Never calibrated here.")
    if guide["last_at"]:
        last = say("Last calibrated {when}.", when=day(guide["last_at"], zone, moment))
    if guide["due_at"]:
        last += " " + say("Due {when}.", when=day(guide["due_at"], zone, moment))
    st.html(
        notice(text(last), "needs-you" if guide["due"] else "as-intended", "" if guide["due"] else "fine")
    )
    if guide["drifts"]:
        heads = [say("when"), say("days since the one before"), say("drifted by")]
        rows = "".join(
            "<tr>" + cell(day(d["at"], zone, moment), sort="n") + cell(number(d["after_days"], 0), heads[1], "n")
            + cell(number(d["change"], 2), heads[2], "n") + "</tr>"
            for d in guide["drifts"]
        )  # fmt: skip
        st.html(table(heads, rows))


def _steps(guide: dict[str, Any]) -> None:
    key = f"step-{guide['sensor']}-{guide['quantity']}"
    for place, step in enumerate(guide["steps"]):
        st.checkbox(label(f"{place + 1}. {step}", 400), key=f"{key}-{place}", **KEEP)


def _readings(source: Source, guide: dict[str, Any]) -> None:
    sensor, quantity, air = guide["sensor"], guide["quantity"], guide["temperature_c"]
    read: dict[str, float] = {}
    wanted = [(p["salt"], f"{p['salt']}: {number(p['rh_pct'], 1)} %") for p in guide["fixed_points"]]
    wanted = wanted or [("ice", say("in ice: 0.0 °C"))]
    st.html(f"<p><b>{text(say('What did it read? One point or two; leave the others empty.'))}</b></p>")
    with st.container(horizontal=True):
        for name, words in wanted:
            value = st.number_input(
                label(words), value=None, step=0.1, format="%.1f",
                key=f"read-{sensor}-{quantity}-{name}", **KEEP,
            )  # fmt: skip
            if value is not None:
                read[name] = float(value)
    if st.button(say("Show the change"), type="primary", key="calibrate-show"):
        beyond = [value for value in read.values() if not READ[0] <= value <= READ[1]]
        if beyond:
            words = say("No sensor reads {value} there: write what it showed.", value=number(beyond[0]))
            st.html(notice(text(words), "needs-you"))
            return
        how = ", ".join(read) if quantity == "humidity" else "ice bath"
        author = source.author("set-up", "set up")
        changing.propose(
            lambda: calibration_guide.calibration_change(
                source.site.path,
                sensor,
                quantity,
                points(quantity, read, air),
                now(),
                f"{how} at {air:g} degC, {author}",
            )
        )
        if changing.KEPT in st.session_state:
            st.rerun()


def points(quantity: str, read: dict[str, float], air_c: float) -> list[tuple[float, float]]:
    """Points (read, true) of what was read over salts [% RH] or in ice [degC]."""
    if quantity == "humidity":
        return calibration_guide.over_salts(read, air_c)
    return [(value, 0.0) for value in read.values()]
