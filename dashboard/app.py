"""The dashboard's script, run for each page that is opened: finds out who reads, and draws the page asked for."""

from __future__ import annotations

import logging
from functools import partial
from pathlib import Path

import streamlit as st

from dashboard import language, look, welcome
from dashboard.language import say
from dashboard.launch import site_path
from dashboard.pages import PAGES
from dashboard.plain import text
from dashboard.signing import Reader
from dashboard.source import Source, source_of
from monitor.errors import MonitorError

log = logging.getLogger(__name__)


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
        source = source_of(site_path(), st.get_option("server.address"))
        language.choose(source.site.pages.language)
        reader = source.reader()
    except MonitorError as error:
        st.html(look.notice(f"<b>{say('The pages cannot be opened.')}</b> {text(error, 2000)}", "now"))
        welcome.way_out()
        return
    if reader is None:
        welcome.sign_in(source)
        look.end_mark()
        return
    _page(source, reader, wall)
    look.end_mark()


def _page(source: Source, reader: Reader, wall: bool) -> None:
    pages = [
        st.Page(partial(draw, source), title=say(title), url_path=address, default=not address)
        for address, title, role, draw in PAGES
        if reader.may(role)
    ]
    chosen = st.navigation(pages, position="hidden")
    if not wall:
        with st.container(horizontal=True, key="bar"):
            for page in pages:
                here = st.container(key="here", width="content") if page.url_path == chosen.url_path else st
                here.page_link(page)
    if reader.ended:
        welcome.sign_in_again(source, reader)
    try:
        chosen.run()
    except (
        Exception
    ) as error:  # a page that fails says so in its own words; Streamlit's control flow is no Exception
        log.exception("a page could not be drawn")
        said = say(
            "This page could not be drawn ({error}). Its trace is in the dashboard's log.",
            error=type(error).__name__,
        )
        st.html(look.notice(f"<b>{text(said)}</b>", "now"))
    if not wall:
        welcome.foot(reader)


main()
