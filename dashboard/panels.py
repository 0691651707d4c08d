"""A room as one calm panel: its air field, two large numbers, a sentence, what to look at first, its paces, its age."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from dashboard.airfield import field
from dashboard.language import say
from dashboard.look import STATE_WORDS, shape, state_word
from dashboard.plain import age, number, temperature, text, unit_sign, wheels, when

KIND_WORDS = {"cave": "cave", "cold-room": "cold room", "cellar": "cellar"}
MOST_BANDS_NAMED = 3
PACE_ENDS = (0.25, 4.0)
"""The paces at the two ends of the drawn scale, which is logarithmic so that half and twice lie equally far."""


def room_panel(room: dict[str, Any], unit: str, zone: ZoneInfo, now: datetime, late_s: float) -> str:
    """A room's panel as HTML.  ``late_s`` is how old the document itself is [s]."""
    state = room["state"] if room["state"] in STATE_WORDS else "needs-you"
    drawn = "no-reading" if room["stale"] and room["temperature_c"] is not None else state
    return (
        f'<section class="room {state} {"stale" if room["stale"] and room["temperature_c"] is not None else ""}" aria-label="{text(room["name"])}: {text(state_word(state))}">'
        f'<h2><a href="room?room={quote(room["id"])}">{text(room["name"])}</a></h2><p class="holds">{_holds(room)}</p>'
        f'<div class="body"><div>{field(room, unit, drawn)}</div>'
        f'<div class="says">{_figures(room, unit)}{_contacts(room, zone, now)}{_words(room, state, zone, now)}{_paces(room)}</div></div>'
        f'{_foot(room, late_s)}</section>'
    )  # fmt: skip


def _holds(room: dict[str, Any]) -> str:
    parts = [text(say(KIND_WORDS.get(room["kind"], room["kind"]))), wheels(room["wheels"])]
    named = [f"{text(b['style_name'], 60)}, {text(b['stage'], 60)}" for b in room["bands"][:MOST_BANDS_NAMED]]
    more = len(room["bands"]) - MOST_BANDS_NAMED
    return " · ".join([*parts, *named, *([text(say("and {count} more", count=more))] if more > 0 else [])])


def _figures(room: dict[str, Any], unit: str) -> str:
    return (
        f'<div class="figures"><span class="figure"><span class="digits">{temperature(room["temperature_c"], unit)}</span><small>{unit_sign(unit)}</small></span>'
        f'<span class="figure"><span class="digits">{number(room["rh_pct"], 0)}</span><small>%</small></span></div>'
    )


def _contacts(room: dict[str, Any], zone: ZoneInfo, now: datetime) -> str:
    """What contacts say is so: 'door open since 14:05', 'tank low since 09:40'; nothing while all is shut and full."""
    silent = {s["id"] for s in room["sensors"] if s["silent"]}
    lines = []
    for contact in room.get("contacts", ()):
        if contact["on"]:
            what = say("door open") if contact["quantity"] == "door_open" else say("tank low")
            since = f" {since_words(contact['since_at'], zone, now)}" if contact["since_at"] else ""
            now_silent = f", {text(say('not heard from since'))}" if contact["sensor"] in silent else ""
            lines.append(f'<p class="contact"><b>{text(what)}</b>{since}{now_silent}</p>')
    return "".join(lines)


def _words(room: dict[str, Any], state: str, zone: ZoneInfo, now: datetime) -> str:
    findings = room["findings"]
    if state == "no-reading":
        return _not_known(room, zone, now)
    since = ", " + since_words(findings[0]["since_at"], zone, now) if findings else ""
    effect = next((f["effect"] for f in findings if f["effect"]), "")
    shown_effect = (
        f'<p class="effect">{text(effect)}</p>'
        if effect and effect.rstrip(".") not in room["sentence"]
        else ""
    )
    look = (
        f'<p class="look-first"><b>{text(say("Check first:"))}</b> {text(room["check_first"])}</p>'
        if room["check_first"]
        else ""
    )
    others = "".join(
        f"<li>{text(f['what'])}, {since_words(f['since_at'], zone, now)}</li>" for f in findings[1:4]
    )
    return (
        f'<p class="state-word">{shape(state)}<span>{text(state_word(state))}{since}</span></p>'
        f'<p class="sentence">{text(room["sentence"])}</p>{shown_effect}{look}'
        + (f'<ul class="plain">{others}</ul>' if others else "")
    )


def _not_known(room: dict[str, Any], zone: ZoneInfo, now: datetime) -> str:
    """Since when nothing is known, and what stood then: none of it is known to stand now."""
    since = ", " + since_words(room["reading_at"], zone, now) if room["reading_at"] else ""
    stood = "".join(
        f"<li>{text(f['what'])}, {since_words(f['since_at'], zone, now)}</li>" for f in room["findings"][:4]
    )
    then = f'<p class="effect">{text(say("What stood when it was last read:"))}</p><ul class="plain">{stood}</ul>'
    return (
        f'<p class="state-word">{shape("no-reading")}<span>{text(state_word("no-reading"))}{since}</span></p>'
        f'<p class="sentence">{text(room["sentence"])}</p>' + (then if stood else "")
    )


def since_words(at: str, zone: ZoneInfo, now: datetime) -> str:
    """'since 01:40', in the reader's language."""
    return text(say("since {when}", when=when(at, zone, now)))


def _paces(room: dict[str, Any]) -> str:
    if not room["wheels"] or room["state"] == "no-reading":
        return ""
    return f'<div class="paces">{pace(say("drying"), room["drying_pace"])}{pace(say("mould"), room["mould_pace"])}</div>'


def pace_words(name: str, value: dict[str, float] | None) -> str:
    """A pace in words and figure, with the range it lies in: 'drying: 2.3 times intended (2.0 to 2.6)'."""
    if value is None:
        return f"{name}: " + say("not enough readings yet")
    between = say("{low} to {high}", low=number(value["low"]), high=number(value["high"]))
    figure = say("{times} times intended", times=number(value["value"]))
    if value["value"] < 0:
        figure = say("none, taking up water")
    elif value["low"] <= 1 <= value["high"]:
        figure = say("about as intended, {times} times", times=number(value["value"]))
    return f"{name}: {figure} ({between})"


def pace(name: str, value: dict[str, float] | None) -> str:
    """A pace in words, and drawn on a scale where the intended pace is the line in the middle."""
    said, bracket, between = text(pace_words(name, value)).partition(" (")
    whole = f'<span class="whole">({between}</span>' if bracket else ""
    words = f"<span>{said} {whole}</span>"
    if value is None:
        return f'<div class="pace">{words}</div>'
    low, mark, high = (_place(value[key]) for key in ("low", "value", "high"))
    return (
        f'<div class="pace">{words}<div class="scale" aria-hidden="true"><span class="doubt" style="left:{low:.1f}%;width:{high - low:.1f}%"></span>'
        f'<span class="meant" style="left:50%"></span><span class="mark" style="left:{mark:.1f}%"></span></div></div>'
    )


def _place(pace_value: float) -> float:
    low, high = (math.log(end) for end in PACE_ENDS)
    inside = min(max(pace_value, PACE_ENDS[0]), PACE_ENDS[1])
    return 100 * (math.log(inside) - low) / (high - low)


def _foot(room: dict[str, Any], late_s: float) -> str:
    silent = [s for s in room["sensors"] if s["silent"]]
    read_s = None if room["reading_age_s"] is None else room["reading_age_s"] + late_s
    read = say("never read") if read_s is None else say("read {ago}", ago=age(read_s))
    parts = [f'<span class="{"late" if room["stale"] else ""}">{read}</span>']
    if room["sensors"]:
        all_of_them = len(room["sensors"])
        heard = say("{heard} of {count} sensors heard", heard=all_of_them - len(silent), count=all_of_them)
        parts.append(f'<span class="{"late" if silent else ""}">{heard}</span>')
    else:
        parts.append(f"<span>{text(say('no sensor placed here yet'))}</span>")
    return f'<div class="foot">{"".join(parts)}</div>'
