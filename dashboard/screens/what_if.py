"""What if: how a wheel would go on in the air it has, in its style's own, or in one the reader supposes."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard.course import Chart, draw
from dashboard.language import say
from dashboard.parts import cannot_be_read, section
from dashboard.plain import moment, number, text
from dashboard.source import Source

WEEKS = {"4 weeks": 28, "3 months": 91, "6 months": 182, "1 year": 364}
"""How far ahead to look, by name [d]."""


def show(source: Source, wheel: str) -> None:
    """Draw the question, and its answer once asked; nothing where the monitor offers none."""
    if not source.offers("what_if"):
        return
    st.html(section(say("What if")))
    with st.form(f"what-if-{wheel}"), st.container(horizontal=True, vertical_alignment="bottom"):
        ahead = st.selectbox(say("How far ahead?"), list(WEEKS), index=2, format_func=say)
        celsius = st.number_input(say("at, °C (may stay empty)"), value=None, step=0.5)
        rh = st.number_input(say("at, % humidity (may stay empty)"), value=None, step=1.0)
        if st.form_submit_button(say("Look ahead"), type="primary"):
            held = (float(celsius), float(rh)) if celsius is not None and rh is not None else None
            st.session_state[f"what-if-asked-{wheel}"] = (WEEKS[ahead or "6 months"], held)
    asked = st.session_state.get(f"what-if-asked-{wheel}")
    if asked:
        _answer(source, wheel, *asked)


def _answer(source: Source, wheel: str, days: int, held: tuple[float, float] | None) -> None:
    answer = source.offered("what_if", wheel, days, held, keep_s=60.0)
    document = answer.document
    if document is None:
        st.html(cannot_be_read(say("That cannot be worked out."), answer))
        return
    left_out = "".join(
        f'<p class="quiet">{text(row["why"], 300)}</p>' for row in document.get("left_out", [])
    )
    drawn = "".join(_scenario(scenario, source) for scenario in document["scenarios"])
    cautions = "".join(f'<p class="caution">{text(say(line))}</p>' for line in document.get("cautions", []))
    st.html(f'<div>{left_out}<div class="columns">{drawn}</div>{cautions}</div>')


def _scenario(scenario: dict[str, Any], source: Source) -> str:
    points = [(at, p) for p in scenario["points"] if (at := moment(p["at"]))]
    words = "".join(f"<li>{text(line, 300)}</li>" for line in _lines(scenario.get("words_of_it")))
    chart = ""
    if len(points) > 1:
        soft = [(at, p["low_kg"], p["high_kg"]) for at, p in points]
        middle = [(at, p["mass_kg"]) for at, p in points]
        drawn = Chart(say("Weight"), middle, soft=soft, sign="kg", low=True)
        chart = draw(drawn, points[0][0], points[-1][0], source.site.site.zone)
    cracks = max((p["cracking_index"] for _, p in points), default=None)
    shown = (
        ""
        if cracks is None
        else f'<p class="pairs"><span>{text(say("cracking index"))} <b>{number(cracks, 2)}</b></span></p>'
    )
    return f'<div class="panel"><h2>{text(say(scenario["name"]))}</h2><p class="quiet">{text(scenario["words"], 200)}</p>{chart}<ul>{words}</ul>{shown}</div>'


def _lines(words: Any) -> list[str]:
    return [words] if isinstance(words, str) else list(words or [])
