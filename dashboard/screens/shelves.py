"""The shelves: every room by place, each wheel marked by its reason for attention, and entries for many at once."""

from __future__ import annotations

from collections import Counter, defaultdict
from typing import Any
from urllib.parse import quote

import streamlit as st

from dashboard import forms
from dashboard.language import say, say_count
from dashboard.naming import may_record
from dashboard.parts import cannot_be_read, headline, no_wheels, section
from dashboard.plain import label, text, wheels
from dashboard.screens.next_to_grade import ACTS, act_mark, style_name
from dashboard.source import Source

MOST_SHOWN = 120
"""Wheels drawn for each place; the rest are counted."""
MOST_AT_ONCE = 1000
ALARMED = "alarmed"
Row = dict[str, Any]


def show(source: Source) -> None:
    """Draw the page."""
    answer = source.wheels()
    if answer.document is None:
        st.html(headline(say("Shelves")) + cannot_be_read(say("The wheels cannot be read."), answer))
        return
    rows = answer.document["wheels"]
    st.html(headline(say("Shelves"), wheels(len(rows))))
    if answer.fault:
        st.html(cannot_be_read(say("The wheels cannot be read anew."), answer))
    if not rows:
        st.html(no_wheels())
        return
    marks = _marks(source)
    chosen = _filtered(source, rows, marks)
    st.html(_legend(rows, marks) + _rooms(source, chosen, marks))
    if may_record(source):
        _for_many(source, chosen)


def _marks(source: Source) -> dict[str, str]:
    """What each wheel that asks for attention is marked with: an act, or that an alarm is about it."""
    marks = {row["wheel"]: row["act"] for row in (source.next_to_grade().document or {}).get("wheels", [])}
    for alarm in (source.alarms().document or {}).get("standing", []):
        if alarm["state"] not in ("shelved", "suppressed-by-design", "out-of-service"):
            marks |= dict.fromkeys(alarm["wheels"], ALARMED)
    return marks


def _filtered(source: Source, rows: list[Row], marks: dict[str, str]) -> list[Row]:
    styles, makes = sorted({r["style"] for r in rows}), sorted({r["make"] for r in rows})
    with st.container(horizontal=True, vertical_alignment="bottom"):
        style = st.selectbox(
            say("Style"), styles, index=None, placeholder=say("all styles"), format_func=lambda s: label(style_name(source, s)),
            key="shelves-style", persist_state="session",
        )  # fmt: skip
        make = st.selectbox(
            say("Make"),
            makes,
            index=None,
            placeholder=say("all makes"),
            format_func=label,
            key="shelves-make",
            persist_state="session",
        )
        only = st.checkbox(say("Only those with a reason"), key="shelves-only", persist_state="session")
    return [
        r
        for r in rows
        if (style is None or r["style"] == style)
        and (make is None or r["make"] == make)
        and (not only or r["name"] in marks)
    ]


def _legend(rows: list[Row], marks: dict[str, str]) -> str:
    counts = Counter(marks[r["name"]] for r in rows if r["name"] in marks)
    parts = [
        f"<span>{mark_of(kind)} <b>{counts[kind]}</b></span>" for kind in (ALARMED, *ACTS) if counts[kind]
    ]
    rest = len(rows) - sum(counts.values())
    return f'<p class="pairs legend">{"".join(parts)}<span>{text(say("no reason"))} <b>{rest}</b></span></p>'


def mark_of(kind: str) -> str:
    """A mark's shape and word."""
    if kind == ALARMED:
        return f'<span class="todo"><i class="shape needs-you" aria-hidden="true"></i> {text(say("alarm"))}</span>'
    return act_mark(kind)


def _rooms(source: Source, rows: list[Row], marks: dict[str, str]) -> str:
    by_room: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        by_room[row["room"] or ""].append(row)
    rooms = [
        (room.id, room.name, [(p.id, p.name or p.id) for p in room.places]) for room in source.site.rooms
    ]
    known = {room for room, _, _ in rooms}
    rooms += [(room, room or say("in no room"), []) for room in sorted(set(by_room) - known)]
    drawn = "".join(_room(name, places, by_room.get(room, []), marks) for room, name, places in rooms)
    return f'<div class="shelves">{drawn}</div>'


def _room(name: str, places: list[tuple[str, str]], rows: list[Row], marks: dict[str, str]) -> str:
    by_place: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        by_place[row["place"] or ""].append(row)
    known = [place for place, _ in places]
    places = places + [(p, p or say("anywhere")) for p in sorted(set(by_place) - set(known))]
    drawn = "".join(_place(words, by_place[place], marks) for place, words in places if by_place[place])
    counted = f'<p class="quiet">{wheels(len(rows))}</p>'
    empty = f'<p class="quiet">{text(say("no wheels"))}</p>'
    return f'<section class="panel"><h2>{text(name, 100)}</h2>{counted if drawn else empty}{drawn}</section>'


def _place(words: str, rows: list[Row], marks: dict[str, str]) -> str:
    first = sorted(rows, key=lambda r: (_rank(marks.get(r["name"])), r["name"]))[:MOST_SHOWN]
    more = len(rows) - len(first)
    rest = f'<span class="quiet">{text(say("and {count} more", count=more))}</span>' if more > 0 else ""
    return f'<h3>{text(words, 80)}</h3><div class="board">{"".join(_wheel(r, marks.get(r["name"])) for r in first)}{rest}</div>'


def _rank(mark: str | None) -> int:
    order = [ALARMED, *ACTS]
    return order.index(mark) if mark in order else len(order)


def _wheel(row: Row, mark: str | None) -> str:
    kind = "alarmed" if mark == ALARMED else "marked" if mark else ""
    shelf = f' <span class="quiet">{text(row["shelf"], 20)}</span>' if row.get("shelf") else ""
    return (
        f'<a class="{kind}" target="_self" href="wheel?wheel={quote(row["name"], safe="")}">{_name(row)}{shelf}'
        f"{mark_of(mark) if mark else ''}</a>"
    )


def _name(row: Row) -> str:
    """A wheel's name; where it begins with its make's, that part is quiet and what tells wheels apart stands out."""
    own = row["name"].removeprefix(row["make"]).lstrip("-_./ ")
    if not own or own == row["name"]:
        return f"<b>{text(row['name'], 40)}</b>"
    return f'<span class="make">{text(row["make"], 40)}</span> <b>{text(own, 40)}</b>'


def _for_many(source: Source, rows: list[Row]) -> None:
    """Entry for a make, a place or a shelf at once, except for some."""
    groups = _groups(source, rows)
    st.html(section(say("Record for many at once")))
    key = st.selectbox(
        say("For which wheels?"), list(groups), index=None, format_func=lambda k: label(f"{k} ({len(groups[k])})", 120),
        placeholder=say("choose a place, a shelf or a make"), key="many", persist_state="session",
    )  # fmt: skip
    if key is None or key not in groups:
        return
    names = groups[key][:MOST_AT_ONCE]
    but = st.multiselect(
        say("All but these"), names, format_func=label, key=f"but-{key}", persist_state="session"
    )
    names = [name for name in names if name not in set(but)]
    if not names:
        return
    st.html(f'<p class="quiet">{text(say_count("For {count} wheel", "For {count} wheels", len(names)))}</p>')
    styles = {r["style"] for r in rows if r["name"] in set(names)}
    rinds = {known.rind for s in styles if (known := source.site.style_by_id.get(s))}
    forms.record(source, f"many {key}", names, rinds.pop() if len(rinds) == 1 else "")


def _groups(source: Source, rows: list[Row]) -> dict[str, list[str]]:
    groups: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        room = source.site.room_by_id.get(row["room"] or "")
        if room is None:
            continue
        place = next((p.name or p.id for p in room.places if p.id == row["place"]), row["place"])
        groups[f"{room.name}, {place}"].append(row["name"])
        if row.get("shelf"):
            groups[f"{room.name}, {place}, {row['shelf']}"].append(row["name"])
    for row in rows:
        groups[say("make {make}", make=row["make"])].append(row["name"])
    return {key: sorted(names) for key, names in groups.items()}
