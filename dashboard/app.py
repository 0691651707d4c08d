"""The dashboard's entry: opens the site once and leads to its pages.

streamlit run dashboard/app.py -- SITE.toml        (or with MATURING_SITE in the environment)
"""

from __future__ import annotations

import importlib
import logging
import os
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import streamlit as st

from dashboard import look
from dashboard.launch import refuse_beyond_loopback
from dashboard.plain import text
from dashboard.screens import alarms, room, rooms_now, wheel
from dashboard.source import Source
from monitor.errors import MonitorError
from monitor.site import load

log = logging.getLogger(__name__)

PAGES: tuple[tuple[str, str, Callable[[Source], None]], ...] = (
    ("", "Rooms now", rooms_now.show),
    ("alarms", "Alarms", alarms.show),
    ("room", "Over time", room.show),
    ("wheel", "Wheel", wheel.show),
)
"""Every page: its address, its name, and what draws it."""


@st.cache_resource(show_spinner=False)
def source_of(path: str, answers: str) -> Source:
    """The documents of a site, opened once for everyone."""
    return Source(load(path), importlib.import_module(answers))


def site_path() -> str:
    """The site file named on the command line, or else in the environment."""
    named = [argument for argument in sys.argv[1:] if not argument.startswith("-")]
    return named[0] if named else os.environ.get("MATURING_SITE", "site.toml")


def main() -> None:
    """Draw the page that was asked for."""
    st.set_page_config(
        page_title="Maturing rooms",
        page_icon=str(Path(__file__).with_name("static") / "mark.png"),
        layout="wide",
    )
    wall = "wall" in st.query_params
    look.apply(wall)
    try:
        refuse_beyond_loopback(st.get_option("server.address"))
        # MATURING_ANSWERS names a module that answers instead of the monitor: for drawing sample documents.
        source = source_of(site_path(), os.environ.get("MATURING_ANSWERS", "monitor.answers"))
    except MonitorError as error:
        st.html(look.notice(f"<b>The pages cannot be opened.</b> {text(error, 2000)}", "now"))
        return
    pages = [
        st.Page(partial(draw, source), title=title, url_path=address, default=not address)
        for address, title, draw in PAGES
    ]
    chosen = st.navigation(pages, position="hidden")
    if not wall:
        with st.container(horizontal=True, key="bar"):
            for page in pages:
                st.page_link(page)
    try:
        chosen.run()
    except (
        Exception
    ) as error:  # a page that fails says so in its own words; Streamlit's control flow is no Exception
        log.exception("a page could not be drawn")
        st.html(
            look.notice(
                f"<b>This page could not be drawn</b> ({text(type(error).__name__)}). Its trace is in the dashboard's log.",
                "now",
            )
        )
    look.end_mark()


main()
