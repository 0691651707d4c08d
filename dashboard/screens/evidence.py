"""Air and rind: what the dairy's own entries say of how its air and its rinds belong together, with the doubt of it."""

from __future__ import annotations

import streamlit as st

from dashboard.language import say
from dashboard.look import put
from dashboard.parts import cannot_be_read, headline
from dashboard.plain import text
from dashboard.source import Source
from dashboard.tables import shown


def show(source: Source) -> None:
    """Draw the page."""
    st.html(headline(say("Air and rind"), say("what this dairy's own entries say")))
    if not source.offers("link"):
        words = say("There is nothing here yet: this monitor does not offer it.")
        st.html(f'<p class="panel">{text(words)}</p>')
        return
    answer = source.offered("link", keep_s=300.0)
    if answer.document is None:
        st.html(cannot_be_read(say("The evidence cannot be worked out."), answer))
        return
    if answer.fault:
        st.html(cannot_be_read(say("The evidence cannot be worked out anew."), answer))
    put(shown(answer.document))
    caution = say("What goes together need not cause the other. The fewer the entries, the wider the doubt.")
    st.html(f'<p class="caution">{text(caution)}</p>')
