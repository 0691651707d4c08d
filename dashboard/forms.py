"""Forms that record what a person saw, found, judged or weighed: few taps, thumb-sized, nothing typed is lost.

A form asks first what there is to say and then only for that.  What was typed stays through a refusal, another
page and the way back; it goes only once it is in the ledger.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import streamlit as st

from dashboard.look import notice
from dashboard.plain import text
from dashboard.source import Source
from monitor.errors import LedgerDoubt, MonitorError
from monitor.wheels.words import (
    AROMA_NOTES,
    DECISIONS,
    FLAVOUR_NOTES,
    IRON_SCALES,
    RIND_SCALES,
    WHERE_ON_WHEEL,
    Scale,
)

KINDS = {"inspection": "Inspection", "ironing": "Ironing", "grading": "Grading", "weighing": "Weighing"}
LONGEST_NOTE = 10_000
KEEP: Any = {"persist_state": "session"}


def record(source: Source, wheel: str, rind: str) -> None:
    """The record part of a wheel's page: choose a kind, say it, save it."""
    st.html('<h2 class="section" id="record">Record</h2>')
    _last_said(source, wheel)
    kind = st.segmented_control(
        "What do you record?",
        list(KINDS),
        format_func=lambda k: KINDS[k],
        key=_key(wheel, "kind"),
        label_visibility="collapsed",
        **KEEP,
    )
    if kind is None:
        return
    with st.container(border=True, key="record-form"):
        said = {"inspection": _inspection, "ironing": _ironing, "grading": _grading, "weighing": _weighing}[
            kind
        ](wheel, rind)
        _save(source, wheel, kind, said)


def _key(wheel: str, name: str) -> str:
    """A widget's key: of its own for each wheel, and new after each entry saved, which empties the form."""
    return f"record-{st.session_state.get(f'saved-{wheel}', 0)}-{wheel}-{name}"


def _inspection(wheel: str, rind: str) -> dict[str, Any]:
    scales = {name: s for name, s in RIND_SCALES.items() if rind == "cloth-bound" or "cloth" not in name}
    said = _noted(wheel, "What do you see? Tap each that is there.", scales)
    if st.checkbox(
        "I looked for all the others too, and there is nothing of them.", key=_key(wheel, "rest"), **KEEP
    ):
        said |= {
            name: 0 for name, scale in scales.items() if scale.sort == "fault" and said.get(name) is None
        }
    said["where"] = _one(wheel, "where", "Where?", WHERE_ON_WHEEL) or ""
    return said | {"note": _note(wheel)}


def _ironing(wheel: str, rind: str) -> dict[str, Any]:
    said: dict[str, Any] = {"where": _one(wheel, "where", "Where is the hole?", WHERE_ON_WHEEL) or ""}
    sealed = _one(wheel, "sealed", "Is the plug sealed?", ("sealed", "not sealed"))
    said["sealed"] = None if sealed is None else sealed == "sealed"
    said |= _noted(wheel, "What does the plug tell? Tap each that you judge.", IRON_SCALES)
    with st.expander("Aroma and flavour"):
        said["aroma"] = tuple(_several(wheel, "aroma", "Aroma", AROMA_NOTES))
        said["flavour"] = tuple(_several(wheel, "flavour", "Flavour", FLAVOUR_NOTES))
    return said | {"note": _note(wheel)}


def _grading(wheel: str, rind: str) -> dict[str, Any]:
    decision = _one(wheel, "decision", "What is decided?", DECISIONS)
    reason = st.text_area("Why?", key=_key(wheel, "reason"), max_chars=LONGEST_NOTE, height=96, **KEEP)
    again = st.date_input(
        "Look again on (may stay empty)",
        value=None,
        key=_key(wheel, "again"),
        min_value=date.today(),
        max_value=date.today() + timedelta(days=3650),
        **KEEP,
    )
    return {"decision": decision, "reason": reason, "look_again_on": again}


def _weighing(wheel: str, rind: str) -> dict[str, Any]:
    mass = st.number_input(
        "Mass, kg",
        value=None,
        min_value=0.0,
        max_value=1000.0,
        step=0.01,
        format="%.2f",
        key=_key(wheel, "mass"),
        **KEEP,
    )
    return {"mass_kg": mass, "note": _note(wheel)}


def _noted(wheel: str, question: str, scales: dict[str, Scale]) -> dict[str, Any]:
    chosen = _several(wheel, "noted", question, tuple(scales), lambda name: scales[name].label)
    return {name: _step(wheel, scales[name]) for name in chosen}


def _step(wheel: str, scale: Scale) -> int | None:
    first = 1 if scale.sort == "fault" else 0
    return st.pills(
        scale.question,
        range(first, 5),
        format_func=lambda step: f"{step} · {scale.steps[step]}",
        key=_key(wheel, f"step-{scale.name}"),
        **KEEP,
    )


def _one(wheel: str, name: str, question: str, words: tuple[str, ...]) -> str | None:
    return st.pills(question, words, key=_key(wheel, name), **KEEP)


def _several(wheel: str, name: str, question: str, words: tuple[str, ...], shown: Any = str) -> list[str]:
    return st.pills(question, words, selection_mode="multi", format_func=shown, key=_key(wheel, name), **KEEP)


def _note(wheel: str) -> str:
    return st.text_area(
        "Note (may stay empty)", key=_key(wheel, "note"), max_chars=LONGEST_NOTE, height=96, **KEEP
    )


def _save(source: Source, wheel: str, kind: str, said: dict[str, Any]) -> None:
    person = st.text_input("Your name", key="person", max_chars=300, autocomplete="name", **KEEP)
    if st.button(f"Save {kind}", type="primary", key=_key(wheel, f"save-{kind}")):
        _try(source, wheel, kind, person, said, sure=False)
    doubt = st.session_state.get(_key(wheel, "doubt"))
    if doubt and doubt[0] == (kind, repr(said)):
        st.html(notice(f"<b>Is this right?</b> {text(doubt[1], 1000)} Nothing is saved yet.", "needs-you"))
        if st.button("It is right: save it", key=_key(wheel, f"sure-{kind}")):
            _try(source, wheel, kind, person, said, sure=True)


def missing(kind: str, said: dict[str, Any]) -> str:
    """What must still be said before an entry can be saved; empty where nothing must."""
    if kind == "grading" and not said["decision"]:
        return "Choose what is decided: " + ", ".join(DECISIONS) + "."
    if kind == "weighing" and not said["mass_kg"]:
        return "Write what the wheel weighs, in kilograms."
    unsaid = [
        name for name, value in said.items() if name in {**RIND_SCALES, **IRON_SCALES} and value is None
    ]
    if unsaid:
        scale = {**RIND_SCALES, **IRON_SCALES}[unsaid[0]]
        return f"Say how much for {scale.label}: one of its five steps."
    if kind in ("inspection", "ironing") and not any(value not in (None, "", ()) for value in said.values()):
        return "Say at least one thing that you saw."
    return ""


def _try(source: Source, wheel: str, kind: str, person: str, said: dict[str, Any], sure: bool) -> None:
    gap = missing(kind, said)
    if gap:
        st.html(notice(f"<b>Not saved yet.</b> {text(gap)}", "needs-you"))
        return
    try:
        entries = source.enter(kind, wheel, person, said, sure)
    except LedgerDoubt as doubt:
        st.session_state[_key(wheel, "doubt")] = ((kind, repr(said)), str(doubt))
        return
    except MonitorError as error:
        st.html(notice(f"<b>Not saved.</b> {text(error, 1000)} What you typed still stands.", "needs-you"))
        return
    st.session_state[f"saved-{wheel}"] = st.session_state.get(f"saved-{wheel}", 0) + 1
    st.session_state["record-said"] = (wheel, kind, person.strip(), entries)
    st.rerun()


def _last_said(source: Source, wheel: str) -> None:
    """What was saved last, and a way to take it back at once."""
    about, kind, person, entries = st.session_state.get("record-said", ("", "", "", []))
    if about != wheel:
        return
    st.html(
        notice(
            f"<b>Saved:</b> {text(kind)} by {text(person, 80)}. It stands in the ledger below.",
            "as-intended",
            "fine",
        )
    )
    if st.button("Take it back", key=f"back-{entries}"):
        try:
            source.take_back(entries, person)
        except MonitorError as error:
            st.html(notice(text(error, 1000), "needs-you"))
            return
        st.session_state.pop("record-said")
        st.rerun()
