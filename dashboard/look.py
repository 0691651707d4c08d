"""The look laid over every page, and the small drawings and shapes that all pages share."""

from __future__ import annotations

import base64
from functools import cache
from pathlib import Path

import streamlit as st

from dashboard.language import say
from dashboard.plain import text

STATE_WORDS: dict[str, str] = {
    "as-intended": "As intended",
    "needs-you": "Needs you",
    "now": "Now",
    "no-reading": "No fresh reading",
    "no-wheels": "No wheels",
}
"""The word that stands beside each state's shape."""

WALL = """
[data-testid="stMainBlockContainer"], #first-sight .inside { max-width: none; }
.rooms { grid-template-columns: repeat(auto-fill, minmax(min(100%, 540px), 1fr)); }
.room .body { grid-template-columns: 1fr; } .room .says { order: -1; } .field { aspect-ratio: 2.3; } .room .plain li { font-size: 1.35rem; }
.headline { font-size: 2rem; } .figure { font-size: clamp(4.5rem, 5.2vw, 8rem); }
.sentence, .look-first, .effect { font-size: 1.6rem; } .state-word { font-size: 2rem; } .room h2 { font-size: 2.3rem; }
.room .holds, .room .foot, .pace { font-size: 1.3rem; }
"""
"""Added to the look where the page hangs on a wall (``?wall=1``): text for two metres and more."""


def state_word(state: str) -> str:
    """The word of a state, in the reader's language."""
    return say(STATE_WORDS[state])


@cache
def sheet(wall: bool = False) -> str:
    """The style of every page, for a wall or for a hand."""
    return Path(__file__).with_name("look.css").read_text(encoding="utf-8") + (WALL if wall else "")


def apply(wall: bool = False) -> None:
    """Lay the look over the page."""
    st.html(f"<style>{sheet(wall)}</style>")


def shape(state: str) -> str:
    """The shape of a state; the word for it must stand beside."""
    return f'<i class="shape {text(state)}" aria-hidden="true"></i>'


def notice(body: str, state: str = "no-reading", more: str = "") -> str:
    """A framed line that says what is wrong with the whole page.  ``body`` is HTML, already harmless."""
    return f'<div class="notice {text(state)} {more}" role="status">{shape(state)}<p>{body}</p></div>'


def picture(svg: str, alt: str) -> str:
    """A drawing that fills its box, with words for those who do not see it.

    It is an image of its own (a data address), so nothing in it can act on the page.
    """
    data = base64.b64encode(svg.encode()).decode()
    return f'<img src="data:image/svg+xml;base64,{data}" alt="{text(alt, 1000)}" decoding="sync">'


def put(html: str) -> None:
    """Put HTML on the page where there is any."""
    if html:
        st.html(html)


def end_mark() -> None:
    """The mark after everything else by which a reader of the page (a test, a printer) knows it is whole."""
    st.html('<span data-page-whole="yes"></span>')
