"""The page server: Streamlit's own, with the gate before it where people sign in, and the site's plain documents beside it.

Started by `dashboard.launch.command`; the site file is named on the command line.
"""

from __future__ import annotations

import gc
import logging
import threading
import time

import streamlit as st
from starlette.middleware import Middleware
from starlette.routing import Route
from streamlit.starlette import App
from streamlit.watcher import polling_path_watcher

from dashboard import gate
from dashboard.first_sight import FirstSight
from dashboard.launch import site_path
from dashboard.pages import PAGES
from dashboard.printing import SHEET, Sheet
from dashboard.signing import door_of
from dashboard.source import Source, source_of
from monitor.site import load

log = logging.getLogger(__name__)
_site = load(site_path())
_door = door_of(_site, st.get_option("server.address"))
_guarded = _door.mode == "people"
# Streamlit looks five times a second whether a settings file has changed: a fortieth of a core for nothing.
vars(polling_path_watcher)["_POLLING_PERIOD_SECS"] = 30.0


STUDIED_AGAIN_S = 3610.0
"""The study of all wheels is kept for an hour (`monitor.link.kept`) and takes seconds: made anew before a reader asks."""


def _source() -> Source:
    return source_of(site_path(), st.get_option("server.address"))


def _links() -> list[tuple[str, str]]:
    """The pages that everyone who comes in may see."""
    return [(address, name) for address, name, role, _ in PAGES if role == "look" or not _guarded]


def _warm() -> None:
    """Ask once what every page asks, so that no reader waits for what is only read or loaded once."""
    source = _source()
    source.rooms()
    for wheel in (source.wheels().document or {"wheels": []})["wheels"][:1]:
        source.review(wheel["name"])
    source.next_to_grade()
    gc.collect()
    gc.freeze()  # what is here by now stays: no need to look it through for garbage again and again

    while True:
        time.sleep(STUDIED_AGAIN_S)
        source.next_to_grade()


threading.Thread(target=_warm, name="warm", daemon=True).start()

app = App(
    "app.py",
    routes=[
        Route(gate.LANGUAGE, gate.choose_language, methods=["GET"]),
        *(gate.routes(_door) if _guarded else []),
        # Who signed in elsewhere is known to the pages alone: they hand the sheet out themselves.
        *([Route(SHEET, Sheet(_source).answer, methods=["GET"])] if _door.mode != "oidc" else []),
    ],
    middleware=[
        *([Middleware(gate.Gate, door=_door)] if _guarded else []),
        *([Middleware(FirstSight, source=_source, links=_links)] if _door.mode != "oidc" else []),
    ],
)
