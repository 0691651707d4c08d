"""The site file itself: changed as text, checked, shown as a change, and written only when told to."""

from __future__ import annotations

import streamlit as st

from dashboard import changing
from dashboard.language import say
from dashboard.look import notice
from dashboard.plain import text
from dashboard.source import Source
from monitor.errors import SiteFileError
from monitor.site import check_text, editing


def show(source: Source) -> None:
    """Draw the part."""
    changing.review(source)
    path = source.site.path
    words = say(
        "Everything that is set stands in {file}. Secrets do not: it names environment variables.",
        file=path.name,
    )
    st.html(f'<p class="quiet">{text(words)}</p>')
    try:
        before = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        st.html(notice(text(error, 300), "now"))
        return
    after = st.text_area(
        say("The site file"),
        value=before,
        height=520,
        max_chars=400_000,
        key="site-text",
        persist_state="session",
    )
    if st.button(say("Show the change"), type="primary"):
        changing.propose(lambda: _checked(source, before, after or ""))
        if changing.KEPT in st.session_state:
            st.rerun()


def _checked(source: Source, before: str, after: str) -> editing.Change:
    site, faults = check_text(after, source.site.path)
    if site is None:
        raise SiteFileError("; ".join(str(fault) for fault in faults[:6]), list(faults))
    return editing.Change(source.site.path, before, after)
