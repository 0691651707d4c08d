"""Forms that record what a person saw, found, judged or weighed: few taps, thumb-sized, nothing typed is lost.

A form asks first what there is to say and then only for that.  What was typed stays through a refusal, another
page and the way back; it goes only once it is in the ledger.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import streamlit as st

from dashboard.language import say, say_count
from dashboard.look import notice
from dashboard.naming import ask_name, may_record
from dashboard.parts import section
from dashboard.plain import label, text
from dashboard.source import Source
from monitor.clock import now
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
SAVE = {
    "inspection": "Save inspection", "ironing": "Save ironing", "grading": "Save grading", "weighing": "Save weighing",
}  # fmt: skip
LONGEST_NOTE = 10_000
MOST_WEIGHED_AT_ONCE = 60
HEAVIEST_KG = 1000.0
LONGEST_AHEAD = timedelta(days=3650)
FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2999, 12, 31)
KEEP: Any = {"persist_state": "session"}
PICTURED = ("inspection", "ironing")
PICTURES = ("jpg", "jpeg", "png", "webp")


@dataclass(frozen=True)
class About:
    """What a form is about: one wheel, or several at once; ``key`` keeps its fields apart from other forms'."""

    key: str
    wheels: tuple[str, ...]
    rind: str
    today: Any

    def field(self, name: str) -> str:
        """A field's key: of its own for each form, and new after each entry saved, which empties the form."""
        return f"record-{st.session_state.get(f'saved-{self.key}', 0)}-{self.key}-{name}"


def record(source: Source, key: str, wheels: Sequence[str], rind: str) -> None:
    """The record part of a page: choose a kind, say it, save it about each of ``wheels``."""
    about = About(key, tuple(wheels), rind, now().astimezone(source.site.site.zone).date())
    if not may_record(source):
        return
    st.html(f'<div id="record">{section(say("Record"))}</div>')
    _last_said(source, about)
    kind = st.segmented_control(
        say("What do you record?"), list(KINDS), format_func=lambda k: say(KINDS[k]), key=about.field("kind"),
        label_visibility="collapsed", **KEEP,
    )  # fmt: skip
    if kind is None:
        return
    with st.container(border=True, key="record-form"):
        said = FIELDS[kind](about)
        _save(source, about, kind, said)


def _inspection(about: About) -> dict[str, Any]:
    cloth = about.rind in ("cloth-bound", "")
    scales = {name: s for name, s in RIND_SCALES.items() if cloth or "cloth" not in name}
    said = _noted(about, say("What do you see? Tap each that is there."), scales)
    if st.checkbox(
        say("I looked for all the others too, and there is nothing of them."), key=about.field("rest"), **KEEP
    ):
        said |= {
            name: 0 for name, scale in scales.items() if scale.sort == "fault" and said.get(name) is None
        }
    said["where"] = _one(about, "where", say("Where?"), WHERE_ON_WHEEL) or ""
    return said | {"note": _note(about)}


def _ironing(about: About) -> dict[str, Any]:
    said: dict[str, Any] = {"where": _one(about, "where", say("Where is the hole?"), WHERE_ON_WHEEL) or ""}
    sealed = _one(about, "sealed", say("Is the plug sealed?"), ("sealed", "not sealed"))
    said["sealed"] = None if sealed is None else sealed == "sealed"
    said |= _noted(about, say("What does the plug tell? Tap each that you judge."), IRON_SCALES)
    with st.expander(say("Aroma and flavour")):
        said["aroma"] = tuple(_several(about, "aroma", say("Aroma"), AROMA_NOTES))
        said["flavour"] = tuple(_several(about, "flavour", say("Flavour"), FLAVOUR_NOTES))
    return said | {"note": _note(about)}


def _grading(about: About) -> dict[str, Any]:
    decision = _one(about, "decision", say("What is decided?"), DECISIONS)
    reason = st.text_area(say("Why?"), key=about.field("reason"), max_chars=LONGEST_NOTE, height=96, **KEEP)
    # Of a day beyond its bounds the field would tell nothing: they are wide, and `missing` refuses in words.
    again = st.date_input(
        say("Look again on (may stay empty)"), value=None, key=about.field("again"), min_value=FIRST_DAY, max_value=LAST_DAY, **KEEP,
    )  # fmt: skip
    return {"decision": decision, "reason": reason, "look_again_on": again}


def _weighing(about: About) -> dict[str, Any]:
    if len(about.wheels) == 1:
        return {"mass_kg": _mass(about, say("Mass, kg"), "mass"), "note": _note(about)}
    st.html(f'<p class="quiet">{text(say("Those left empty are not weighed."))}</p>')
    masses = {
        wheel: _mass(about, f"{label(wheel)}, kg", f"mass-{wheel}")
        for wheel in about.wheels[:MOST_WEIGHED_AT_ONCE]
    }
    return {"masses": {wheel: mass for wheel, mass in masses.items() if mass}, "note": _note(about)}


FIELDS: dict[str, Callable[[About], dict[str, Any]]] = {
    "inspection": _inspection, "ironing": _ironing, "grading": _grading, "weighing": _weighing,
}  # fmt: skip


def _mass(about: About, words: str, name: str) -> float | None:
    """A mass [kg] as typed.  The field sets no bounds: it would keep what was typed before, unseen, in place of a figure
    beyond them; `missing` refuses that in words."""
    return st.number_input(
        words,
        value=None,
        step=0.01,
        format="%.2f",
        key=about.field(name),
        **KEEP,
    )


def _noted(about: About, question: str, scales: dict[str, Scale]) -> dict[str, Any]:
    chosen = _several(about, "noted", question, tuple(scales), lambda name: say(scales[name].label))
    return {name: _step(about, scales[name]) for name in chosen}


def _step(about: About, scale: Scale) -> int | None:
    first = 1 if scale.sort == "fault" else 0
    return st.pills(
        say(scale.question),
        range(first, 5),
        format_func=lambda step: f"{step} · {say(scale.steps[step])}",
        key=about.field(f"step-{scale.name}"),
        **KEEP,
    )


def _one(about: About, name: str, question: str, words: tuple[str, ...]) -> str | None:
    return st.pills(question, words, format_func=say, key=about.field(name), **KEEP)


def _several(about: About, name: str, question: str, words: tuple[str, ...], shown: Any = say) -> list[str]:
    return st.pills(question, words, selection_mode="multi", format_func=shown, key=about.field(name), **KEEP)


def _note(about: About) -> str:
    return st.text_area(
        say("Note (may stay empty)"), key=about.field("note"), max_chars=LONGEST_NOTE, height=96, **KEEP
    )


def _photos(about: About) -> tuple[Any, ...]:
    """Photos chosen but not kept yet; one wheel's only, since a photo shows one."""
    if len(about.wheels) != 1:
        return ()
    chosen = st.file_uploader(
        say("Photos, at most 20 MB each (may stay empty)"),
        type=list(PICTURES),
        accept_multiple_files=True,
        key=about.field("photos"),
    )
    return tuple(chosen or ())


def _save(source: Source, about: About, kind: str, said: dict[str, Any]) -> None:
    if kind in PICTURED:
        # A form, since its button waits until photos that are on their way have arrived.  The name stands in it: typed
        # just before, outside, it would take the press of the button for itself.
        with st.form(about.field(f"save-{kind}"), border=False, enter_to_submit=False):
            said["photos"] = _photos(about)
            name = ask_name(source, **KEEP)
            pressed = st.form_submit_button(say(SAVE[kind]), type="primary")
    else:
        name = ask_name(source, **KEEP)
        pressed = st.button(say(SAVE[kind]), type="primary", key=about.field(f"save-{kind}"))
    if pressed:
        _try(source, about, kind, name, said, sure=False)
    doubt = st.session_state.get(about.field("doubt"))
    if doubt and doubt[0] == (kind, repr(said)):
        words = f"<b>{text(say('Is this right?'))}</b> {text(doubt[1], 1000)} {text(say('Nothing is saved yet.'))}"
        st.html(notice(words, "needs-you"))
        if st.button(say("It is right: save it"), key=about.field(f"sure-{kind}")):
            _try(source, about, kind, name, said, sure=True)


def missing(kind: str, said: dict[str, Any], today: date | None = None) -> str:
    """What must still be said, or said otherwise, before an entry can be saved; empty where nothing must."""
    if kind == "grading" and not said["decision"]:
        return say("Choose what is decided: {words}.", words=", ".join(say(word) for word in DECISIONS))
    again = said.get("look_again_on")
    if again and today and not today <= again <= today + LONGEST_AHEAD:
        return say("Look again on a day to come, within ten years.")
    if kind == "weighing" and not said.get("mass_kg") and not said.get("masses"):
        return say("Write what the wheel weighs, in kilograms.")
    masses = [said.get("mass_kg"), *(said.get("masses") or {}).values()]
    if kind == "weighing" and any(mass is not None and not 0 < mass <= HEAVIEST_KG for mass in masses):
        return say("A wheel weighs more than 0 and at most {most} kg.", most=f"{HEAVIEST_KG:.0f}")
    scales = {**RIND_SCALES, **IRON_SCALES}
    unsaid = [name for name, value in said.items() if name in scales and value is None]
    if unsaid:
        return say("Say how much for {what}: one of its five steps.", what=say(scales[unsaid[0]].label))
    if kind in ("inspection", "ironing") and not any(value not in (None, "", ()) for value in said.values()):
        return say("Say at least one thing that you saw.")
    return ""


def _try(source: Source, about: About, kind: str, name: str, said: dict[str, Any], sure: bool) -> None:
    gap = missing(kind, said, about.today)
    if gap:
        st.html(notice(f"<b>{text(say('Not saved yet.'))}</b> {text(gap)}", "needs-you"))
        return
    try:
        entries = _enter(source, about, kind, name, said, sure)
    except LedgerDoubt as doubt:
        st.session_state[about.field("doubt")] = ((kind, repr(said)), str(doubt))
        return
    except MonitorError as error:
        stands = say("What you typed still stands.")
        st.html(notice(f"<b>{text(say('Not saved.'))}</b> {text(error, 1000)} {text(stands)}", "needs-you"))
        return
    st.session_state[f"saved-{about.key}"] = st.session_state.get(f"saved-{about.key}", 0) + 1
    st.session_state["record-said"] = (about.key, kind, name.strip(), entries)
    st.rerun()


def _enter(source: Source, about: About, kind: str, name: str, said: dict[str, Any], sure: bool) -> list[int]:
    if masses := said.get("masses"):
        return source.weigh(masses, name, said["note"], sure)
    if "photos" in said:
        said = {
            **said,
            "photos": tuple(source.keep_photo(photo.getvalue(), name) for photo in said["photos"]),
        }
    return source.enter(
        kind, about.wheels[0] if len(about.wheels) == 1 else list(about.wheels), name, said, sure
    )


def _last_said(source: Source, about: About) -> None:
    """What was saved last, and a way to take it back at once."""
    key, kind, name, entries = st.session_state.get("record-said", ("", "", "", []))
    if key != about.key:
        return
    words = say("{kind} by {name}. It stands in the ledger.", kind=say(KINDS[kind]), name=name)
    count = say_count("{count} entry", "{count} entries", len(entries))
    more = f" ({text(count)})" if len(entries) > 1 else ""
    st.html(notice(f"<b>{text(say('Saved:'))}</b> {text(words, 300)}{more}", "as-intended", "fine"))
    if st.button(say("Take it back"), key=f"back-{entries[:1]}"):
        try:
            source.take_back(entries, name)
        except MonitorError as error:
            st.html(notice(text(error, 1000), "needs-you"))
            return
        st.session_state.pop("record-said")
        st.rerun()
