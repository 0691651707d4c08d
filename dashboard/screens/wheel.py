"""A wheel: what has it been through, what will I find, where do I look, and is it worth a hole?"""

from __future__ import annotations

from datetime import datetime
from typing import Any
from urllib.parse import quote, urlsplit
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard import forms
from dashboard.language import say, say_count
from dashboard.look import notice, put
from dashboard.parts import cannot_be_read, headline, no_wheels, place_words
from dashboard.plain import day, number, text
from dashboard.printing import printed
from dashboard.screens import what_if, wheel_air, wheel_ledger, wheel_rind
from dashboard.source import Answer, Source
from monitor.clock import now

MOST_CARDS = 120


def show(source: Source) -> None:
    """Draw the page: one wheel where the address names it, else the wheels to choose from."""
    name = st.query_params.get("wheel", "")
    if not name:
        _choose(source)
        return
    answer = source.review(name)
    if answer.document is None:
        if answer.unknown:
            st.html(notice(f"<b>{text(say('No such wheel.'))}</b> {text(answer.fault)}", "no-reading"))
        else:
            st.html(headline(name[:80]) + cannot_be_read(say("The wheel cannot be read."), answer))
            return
        _choose(source)
        return
    _review(source, name, answer)


# -- choosing ------------------------------------------------------------------------------------------


def _choose(source: Source) -> None:
    st.html(headline(say("Which wheel?")))
    answer = source.wheels()
    if answer.document is None:
        st.html(cannot_be_read(say("The wheels cannot be read."), answer))
        return
    rows = answer.document["wheels"]
    if not rows:
        st.html(no_wheels())
        return
    sought = st.text_input(
        say("Name, make, style or room"), key="sought", value="", max_chars=300, persist_state="session"
    )
    found = [row for row in rows if is_sought(row, sought)]
    cards = "".join(_card(source, row) for row in found[:MOST_CARDS])
    st.html(f'<div class="wheel-links">{cards}</div>{_left_out(len(found))}')


def is_sought(row: dict[str, Any], sought: str) -> bool:
    """Whether a wheel of the list has the words somewhere in what it is called and where it stands."""
    keys = ("name", "make", "style", "style_name", "room", "room_name", "place")
    return sought.strip().casefold() in " ".join(str(row.get(k) or "") for k in keys).casefold()


def _left_out(found: int) -> str:
    words = ""
    if not found:
        words = say("No wheel has that in its name, make, style or room.")
    elif found > MOST_CARDS:
        words = say("And {count} more: write more of the name.", count=found - MOST_CARDS)
    return f'<p class="quiet">{text(words)}</p>' if words else ""


def _card(source: Source, row: dict[str, Any]) -> str:
    style = source.site.style_by_id.get(row["style"])
    room = source.site.room_by_id.get(row["room"] or "")
    where = room.name if room else row["room"] or say("in no room")
    return (
        f'<a target="_self" href="wheel?wheel={quote(row["name"], safe="")}"><b>{text(row["name"], 80)}</b><span class="quiet">'
        f"{text(style.name if style else row['style'], 60)} · {text(age_words(row['age_days']))} · {text(where, 60)}</span></a>"
    )


def age_words(days: float | None) -> str:
    """A wheel's age in days while it is young, in months after: '23 days', '11 months'."""
    if days is None:
        return say("age not known")
    if days < 60:
        return say_count("{count} day", "{count} days", round(days))
    return say("{count} months", count=f"{days / 30.44:.0f}")


# -- one wheel -----------------------------------------------------------------------------------------


def _review(source: Source, name: str, answer: Answer) -> None:
    document, zone, at = answer.document or {}, source.site.site.zone, now()
    style = source.site.style_by_id.get(document["wheel"]["style"])
    st.html(_head(document, answer, zone, at) + _told(document))
    forms.record(source, name, [name], style.rind if style else document["wheel"].get("rind") or "")
    st.html(
        wheel_rind.rind(document, zone, at)
        + wheel_air.air(document, source.site.site.display_unit, zone, at)
        + f'<div class="columns"><div>{wheel_rind.weight(document, zone)}</div><div>{wheel_air.doses(document)}</div></div>'
    )
    what_if.show(source, name)
    _to_print(source, name)
    wheel_ledger.show(source, document, zone, at)
    put("".join(f'<p class="caution">{text(say(caution))}</p>' for caution in document["cautions"]))


def _head(document: dict[str, Any], answer: Answer, zone: ZoneInfo, at: datetime) -> str:
    wheel, where = document["wheel"], document["where"]
    place = text(say("in no room"))
    if where:
        place = f"{place_words(where)}, {text(say('since {when}', when=day(where['since_at'], zone, at)))}"
    if wheel["gone"]:
        gone = say("gone {when}: {why}", when=day(wheel["gone"]["at"], zone, at), why=wheel["gone"]["why"])
        place = text(gone, 160)
    old = cannot_be_read(say("The wheel cannot be read anew."), answer) if answer.fault else ""
    count = document["holes"]
    holes = say_count("{count} hole", "{count} holes", count) if count else say("no hole yet")
    ripe = wheel.get("equivalent_age_days")
    as_old = ""
    if ripe:
        days = say("{low} to {high}", low=number(ripe["low"], 0), high=number(ripe["high"], 0))
        as_old = f"<span>{text(say('ripened as if {days} days old', days=days))}</span>"
    made = say("made {when}", when=day(wheel["made_at"], zone, at))
    return (
        f'{old}<h1 class="headline"><b>{text(wheel["name"], 300)}</b></h1><p class="pairs"><span><b>{text(wheel["style_name"], 80)}</b>, {text(wheel["stage"], 80)}</span>'
        f"<span><b>{text(age_words(wheel['age_days']))}</b>, {text(made)}</span>{as_old}<span>{place}</span><span>{text(holes)}</span></p>"
    )


def _to_print(source: Source, name: str) -> None:
    """The way to the sheet: a page of its own, or a file where the server cannot know who asks for a page."""
    words = say("A sheet to print: the review on one page, with room to write what the iron finds")
    if source.door is None or source.door.mode != "oidc":
        link = f'<a class="plain-link" target="_blank" href="sheet?wheel={quote(name, safe="")}">{text(words)}</a>'
        st.html(f'<p class="to-print no-print">{link}</p>')
        return
    address = "{0.scheme}://{0.netloc}".format(urlsplit(st.context.url or "http://localhost"))
    st.download_button(
        words, lambda: printed(source, name, address)[0], "review.html", "text/html", on_click="ignore"
    )


def _told(document: dict[str, Any]) -> str:
    said = "".join(f'<p class="spoken">{text(line, 1000)}</p>' for line in document["statement"])
    said = said or f'<p class="spoken">{text(say("Nothing to say yet."))}</p>'
    lists = [
        (say("Look here"), document["look_at"]),
        (say("Keep the iron from"), document["keep_the_iron_from"]),
    ]
    more = "".join(_places_list(title, rows) for title, rows in lists if rows)
    return f'<div class="panel">{said}</div>' + (f'<div class="columns">{more}</div>' if more else "")


def _places_list(title: str, rows: list[dict[str, Any]]) -> str:
    items = "".join(f"<li><b>{text(row['where'])}</b>: {text(row['why'])}</li>" for row in rows)
    return f'<div class="panel"><h2>{text(title)}</h2><ul>{items}</ul></div>'
