"""A wheel: what has it been through, what will I find, where do I look, and is it worth a hole?"""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard import forms
from dashboard.course import Chart, Point, draw
from dashboard.look import notice
from dashboard.panels import pace
from dashboard.plain import age, day, moment, number, shown_temperature, temperature, text, unit_sign, when
from dashboard.source import Answer, Source
from monitor.clock import now

MOST_CARDS = 120
MOST_ENTRIES = 200


def show(source: Source) -> None:
    """Draw the page: one wheel where the address names it, else the wheels to choose from."""
    name = st.query_params.get("wheel", "")
    if not name:
        _choose(source, "")
        return
    answer = source.review(name)
    if answer.document is None:
        words = (
            f"<b>No such wheel.</b> {text(answer.fault)}"
            if answer.unknown
            else f"<b>The wheel cannot be read.</b> {text(answer.fault)}"
        )
        st.html(notice(words, "no-reading" if answer.unknown else "now"))
        _choose(source, name[:40])
        return
    _review(source, name, answer)


# -- choosing ------------------------------------------------------------------------------------------


def _choose(source: Source, first: str) -> None:
    st.html('<h1 class="headline">Which wheel?</h1>')
    answer = source.wheels()
    if answer.document is None:
        st.html(notice(f"<b>The wheels cannot be read.</b> {text(answer.fault)}", "now"))
        return
    rows = answer.document["wheels"]
    if not rows:
        st.html('<p class="panel">No wheels yet. Add a make to the ledger, and its wheels stand here.</p>')
        return
    sought = (
        st.text_input(
            "Name, make, style or room", key="sought", value="", max_chars=300, persist_state="session"
        )
        .strip()
        .casefold()
    )
    found = [
        row
        for row in rows
        if sought
        in " ".join(
            str(row.get(k) or "")
            for k in ("name", "make", "style", "style_name", "room", "room_name", "place")
        ).casefold()
    ]
    st.html(
        f'<div class="wheel-links">{"".join(_card(source, row) for row in found[:MOST_CARDS])}</div>{_left_out(len(found), first)}'
    )


def _left_out(found: int, first: str) -> str:
    if not found:
        return '<p class="quiet">No wheel has that in its name, make, style or room.</p>'
    return (
        f'<p class="quiet">And {found - MOST_CARDS} more: write more of the name.</p>'
        if found > MOST_CARDS
        else ""
    )


def _card(source: Source, row: dict[str, Any]) -> str:
    style = source.site.style_by_id.get(row["style"])
    room = source.site.room_by_id.get(row["room"] or "")
    where = room.name if room else row["room"] or "in no room"
    return (
        f'<a href="wheel?wheel={quote(row["name"])}"><b>{text(row["name"], 80)}</b><span class="quiet">'
        f"{text(style.name if style else row['style'], 60)} · {age_words(row['age_days'])} · {text(where, 60)}</span></a>"
    )


def age_words(days: float | None) -> str:
    """A wheel's age in days while it is young, in months after: '23 days', '11 months'."""
    if days is None:
        return "age not known"
    return f"{days:.0f} days" if days < 60 else f"{days / 30.44:.0f} months"


# -- one wheel -----------------------------------------------------------------------------------------


def _review(source: Source, name: str, answer: Answer) -> None:
    document, zone, at = answer.document or {}, source.site.site.zone, now()
    style = source.site.style_by_id.get(document["wheel"]["style"])
    st.html(_head(document, answer, zone, at) + _told(document))
    forms.record(source, name, style.rind if style else "")
    st.html(
        _air(document, source.site.site.display_unit, zone, at)
        + f'<div class="columns"><div>{_weight(document, zone)}</div><div>{_doses(document)}</div></div>'
        + _ledger(document, zone, at)
        + "".join(f'<p class="caution">{text(caution)}</p>' for caution in document["cautions"])
    )


def _head(document: dict[str, Any], answer: Answer, zone: ZoneInfo, at: datetime) -> str:
    wheel, where = document["wheel"], document["where"]
    place = (
        f"{text(where['room_name'], 80)}, {text(where.get('place_name') or where['place'], 60)}, since {day(where['since_at'], zone, at)}"
        if where
        else "in no room"
    )
    if wheel["gone"]:
        place = f"gone {day(wheel['gone']['at'], zone, at)}: {text(wheel['gone']['why'], 120)}"
    old = (
        notice(
            f"<b>The wheel cannot be read anew.</b> {text(answer.fault)} What stands below was true {age(answer.age_s())}.",
            "now",
        )
        if answer.fault
        else ""
    )
    holes = {0: "no hole yet", 1: "1 hole"}.get(document["holes"], f"{document['holes']} holes")
    return (
        f'{old}<h1 class="headline"><b>{text(wheel["name"], 300)}</b></h1><p class="pairs"><span><b>{text(wheel["style_name"], 80)}</b>, {text(wheel["stage"], 80)}</span>'
        f"<span><b>{age_words(wheel['age_days'])}</b>, made {day(wheel['made_at'], zone, at)}</span><span>{place}</span><span>{holes}</span></p>"
    )


def _told(document: dict[str, Any]) -> str:
    said = (
        "".join(f'<p class="spoken">{text(line, 1000)}</p>' for line in document["statement"])
        or '<p class="spoken">Nothing to say yet.</p>'
    )
    lists = [("Look here", document["look_at"]), ("Keep the iron from", document["keep_the_iron_from"])]
    more = "".join(_places_list(title, rows) for title, rows in lists if rows)
    return f'<div class="panel">{said}</div>' + (f'<div class="columns">{more}</div>' if more else "")


def _places_list(title: str, rows: list[dict[str, Any]]) -> str:
    items = "".join(f"<li><b>{text(row['where'])}</b>: {text(row['why'])}</li>" for row in rows)
    return f'<div class="panel"><h2>{title}</h2><ul>{items}</ul></div>'


def _air(document: dict[str, Any], unit: str, zone: ZoneInfo, at: datetime) -> str:
    course, air = document["air"]["course"], document["air"]
    title = '<h2 class="section">The air it lived in</h2>'
    if not course:
        return title + '<p class="quiet">No air was read where it stood.</p>'
    start, end = moment(document["wheel"]["made_at"]) or at, at
    charts = [
        _course_chart(
            course,
            "temperature_c",
            ("temperature_low_c", "temperature_high_c"),
            "Temperature",
            unit_sign(unit),
            lambda v: shown_temperature(v, unit),
        ),
        _course_chart(course, "rh_pct", ("rh_low_pct", "rh_high_pct"), "Humidity", "%", lambda v: v),
    ]
    known = (
        ""
        if air["coverage"] is None
        else f' <span class="quiet">{100 * air["coverage"]:.0f} % of the time was read; white is the band it wants.</span>'
    )
    return (
        title
        + known
        + "".join(draw(chart, start, end, zone) for chart in charts)
        + _spans(air["spans"], unit, zone, at)
    )


def _course_chart(
    course: list[dict[str, Any]], value: str, band: tuple[str, str], name: str, sign: str, shown: Any
) -> Chart:
    timed = [(moment(p["at"]), p) for p in course]
    points: list[Point] = [(t, shown(p[value])) for t, p in timed if t and p[value] is not None]
    bands = [
        (t, shown(p[band[0]]), shown(p[band[1]]))
        for t, p in timed
        if t and p.get(band[0]) is not None and p.get(band[1]) is not None
    ]
    steps = sorted((b[0] - a[0]).total_seconds() for a, b in pairwise(points))
    gap_s = max(2.5 * steps[len(steps) // 2], 1500.0) if steps else 1500.0
    return Chart(name, points, bands, sign=sign, gap_s=gap_s)


def _spans(spans: list[dict[str, Any]], unit: str, zone: ZoneInfo, at: datetime) -> str:
    rows = "".join(
        f'<tr><td>{text(s["room_name"], 80)}, {text(s.get("place_name") or s["place"], 60)}</td><td class="n" data-label="from">{day(s["from_at"], zone, at)}</td><td class="n" data-label="days">{number(s["days"], 0)}</td>'
        f'<td class="n" data-label="temperature">{_range(s["temperature_c"], lambda v: temperature(v, unit))} {unit_sign(unit)}</td>'
        f'<td class="n" data-label="humidity">{_range(s["rh_pct"], lambda v: number(v, 0))} %</td><td data-label="outside its band">{_outside(s)}</td></tr>'
        for s in spans
    )
    return f'<table class="sheet"><thead><tr><th>where</th><th>from</th><th>days</th><th>temperature</th><th>humidity</th><th>outside its band</th></tr></thead><tbody>{rows}</tbody></table>'


def _range(values: dict[str, Any] | None, shown: Any) -> str:
    if not values or values["mean"] is None:
        return "–"
    return f"{shown(values['mean'])} ({shown(values['min'])} to {shown(values['max'])})"


def _outside(span: dict[str, Any]) -> str:
    parts = [
        f"{number(span[f'days_too_{way}'])} days too {way}"
        for way in ("warm", "cold", "damp", "dry")
        if (span.get(f"days_too_{way}") or 0) >= 0.05
    ]
    return ", ".join(parts) or "never"


def _doses(document: dict[str, Any]) -> str:
    drawn = "".join(
        f"<p>{text(dose['words'], 400)}</p>{pace(dose['name'], dose['pace'])}" for dose in document["doses"]
    )
    return f'<h2 class="section">What the air did</h2><div class="paces">{drawn or "<p>Not enough readings yet.</p>"}</div>'


def _weight(document: dict[str, Any], zone: ZoneInfo) -> str:
    weight = document["weight"]
    dots = [(t, w["mass_kg"]) for w in weight["weighings"] if (t := moment(w["at"]))]
    soft = [(t, e["low_kg"], e["high_kg"]) for e in weight["expected"] if (t := moment(e["at"]))]
    middle = [(t, e["mass_kg"]) for e in weight["expected"] if (t := moment(e["at"]))]
    start, end = moment(document["wheel"]["made_at"]), moment(document["at"])
    lost = "" if weight["loss_pct"] is None else f"lost {number(weight['loss_pct'])} % so far"
    chart = Chart("Weight", middle, soft=soft, dots=dots, sign="kg", low=True, words=lost)
    drawn = draw(chart, start, end, zone) if start and end else ""
    key = (
        '<p class="quiet">Dots are weighings; the soft band is what the air should have left of it.</p>'
        if dots or soft
        else ""
    )
    return f'<h2 class="section">Weight</h2>{drawn}{key}'


def _ledger(document: dict[str, Any], zone: ZoneInfo, at: datetime) -> str:
    entries = sorted(document["ledger"], key=lambda e: (e["at"], e["id"]), reverse=True)
    rows = "".join(_entry(entry, zone, at) for entry in entries[:MOST_ENTRIES])
    more = (
        f'<p class="quiet">And {len(entries) - MOST_ENTRIES} older entries.</p>'
        if len(entries) > MOST_ENTRIES
        else ""
    )
    return f'<h2 class="section">Ledger</h2><table class="sheet"><thead><tr><th>when</th><th>what</th><th>by</th><th>says</th></tr></thead><tbody>{rows}</tbody></table>{more}'


def _entry(entry: dict[str, Any], zone: ZoneInfo, at: datetime) -> str:
    gone = entry.get("corrected_by")
    says = text(entry["summary"], 1500)
    note = (entry.get("details") or {}).get("note", "")
    if note and note not in entry["summary"]:
        says += f" · {text(note, 1500)}"
    if gone:
        says = f"<s>{says}</s> (corrected or taken back by entry {text(gone)})"
    return (
        f'<tr><td class="n">{when(entry["at"], zone, at)}</td><td class="n" data-label="what"><b>{text(entry["kind"], 40)}</b></td>'
        f'<td class="free" data-label="by">{text(entry["author"], 80)}</td><td class="free" data-label="says">{says}</td></tr>'
    )
