"""What if: how a wheel would do at another place, in other air, or graded later; asked of the wheel's twin."""

from __future__ import annotations

import streamlit as st

from dashboard.source import Source


def show(source: Source, wheel: str) -> None:
    """Draw the questions, where the monitor offers answers."""
    if not source.offers("what_if"):
        return
    st.html("")
