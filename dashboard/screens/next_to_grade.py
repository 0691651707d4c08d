"""Next to grade: which wheels deserve a look, a weighing or an iron now, and why."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard.language import say, say_count
from dashboard.parts import cannot_be_read, headline, place_words, wheel_link
from dashboard.plain import label, text
from dashboard.source import Source

ACTS = {"look at the rind": "look", "weigh": "weigh", "iron": "iron"}
"""What is to be done with a wheel, and the shape that stands for it."""
STEP = 20


def show(source: Source) -> None:
    """Draw the page."""
    answer = source.next_to_grade()
    if answer.document is None:
        st.html(headline(say("Next to grade")) + cannot_be_read(say("The list cannot be made."), answer))
        return
    rows = answer.document["wheels"]
    words = say_count(
        "{count} wheel has a reason for attention", "{count} wheels have a reason for attention", len(rows)
    )
    st.html(headline(say("Next to grade"), words if rows else ""))
    if answer.fault:
        st.html(cannot_be_read(say("The list cannot be made anew."), answer))
    if not rows:
        st.html(f'<p class="panel">{text(say("No wheel asks for attention now."))}</p>')
        return
    act = st.pills(say("Only those to"), list(ACTS), format_func=say, key="next-act", persist_state="session")
    style = _style(source, rows)
    chosen = [r for r in rows if (act is None or r["act"] == act) and (style is None or r["style"] == style)]
    shown = st.session_state.get("next-shown", STEP)
    cards = "".join(_card(source, place, row) for place, row in enumerate(chosen[:shown], start=1))
    st.html(f'<ol class="ranked">{cards}</ol>{_how()}')
    if len(chosen) > shown and st.button(say("Show more")):
        st.session_state["next-shown"] = shown + STEP
        st.rerun()


def _style(source: Source, rows: list[dict[str, Any]]) -> str | None:
    styles = sorted({row["style"] for row in rows})
    if len(styles) < 2:
        return None
    return st.selectbox(
        say("Style"), styles, index=None, placeholder=say("all styles"), key="next-style", persist_state="session",
        format_func=lambda s: label(style_name(source, s)),
    )  # fmt: skip


def style_name(source: Source, style: str) -> str:
    """A style by its name in the site file."""
    known = source.site.style_by_id.get(style)
    return known.name if known else style


def _card(source: Source, place: int, row: dict[str, Any]) -> str:
    room = source.site.room_by_id.get(row["room"] or "")
    names = {place.id: place.name for place in room.places} if room else {}
    named = {"room_name": room.name if room else None, "place_name": names.get(row["place"] or "")}
    where = place_words(named | {key: value for key, value in row.items() if value})
    reasons = "; ".join(text(reason["words"], 300) for reason in row["reasons"])
    return (
        f'<li class="panel"><p class="act"><b>{place}</b> {act_mark(row["act"])}</p><div><p class="spoken"><b>{wheel_link(row["wheel"])}</b></p>'
        f'<p class="quiet">{text(style_name(source, row["style"]), 80)} · {where}</p><p>{reasons}</p></div></li>'
    )


def act_mark(act: str) -> str:
    """The shape and the word for what is to be done with a wheel."""
    return f'<span class="todo"><i class="shape {ACTS.get(act, "look")}" aria-hidden="true"></i> {text(say(act))}</span>'


def _how() -> str:
    words = say(
        "Ordered by the sum of reasons: dates promised or set, faults seen, plugs left open, long without a look. "
        "A look comes before an iron wherever both would tell: each iron costs a hole."
    )
    return f'<p class="quiet">{text(words)}</p>'
