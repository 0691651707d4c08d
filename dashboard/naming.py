"""Who is writing: a form asks for a name only where nobody signs in, and remembers it for the other forms."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard.language import say
from dashboard.plain import label
from dashboard.source import Source

KEPT = "person"


def may_record(source: Source) -> bool:
    """Whether to draw forms at all: the reader's role covers recording, or covered it until the sign-in ended."""
    reader = source.reader()
    return reader is not None and reader.may("record")


def ask_name(source: Source, key: str = KEPT, **more: Any) -> str:
    """The name to write beside an entry: of whoever signed in, else typed here."""
    reader = source.reader()
    if reader is not None and reader.name:
        st.caption(say("Recorded as {name}", name=label(reader.name)))
        return reader.name
    known = (
        {}
        if key == KEPT
        else {"value": st.session_state.get(KEPT) or st.session_state.get("person-known", "")}
    )
    return st.text_input(say("Your name"), key=key, max_chars=300, autocomplete="name", **known, **more)
