"""The page server: Streamlit's own, with the gate before it where people sign in, and the site's plain documents beside it.

Started by `dashboard.launch.command`; the site file is named on the command line.
"""

from __future__ import annotations

import importlib
import logging
import os
import threading

import streamlit as st
from starlette.middleware import Middleware
from starlette.routing import Route
from streamlit.starlette import App

from dashboard import gate
from dashboard.launch import site_path
from dashboard.signing import door_of
from monitor.site import load

log = logging.getLogger(__name__)
_site = load(site_path())
_door = door_of(_site, st.get_option("server.address"))
_guarded = _door.mode == "people"


def _warm() -> None:
    """Make what a first review has to add up (the air of all places), so that no reader waits for it."""
    try:
        answers = importlib.import_module(os.environ.get("MATURING_ANSWERS", "monitor.answers"))
        answers.rooms_document(_site)
        for wheel in answers.wheels_document(_site)["wheels"][:1]:
            answers.review_document(_site, wheel["name"])
    except Exception:  # the pages say themselves what cannot be read
        log.warning("the pages start without what they would keep at hand", exc_info=True)


threading.Thread(target=_warm, name="warm", daemon=True).start()

app = App(
    "app.py",
    routes=[
        Route(gate.LANGUAGE, gate.choose_language, methods=["GET"]),
        *(gate.routes(_door) if _guarded else []),
    ],
    middleware=[Middleware(gate.Gate, door=_door)] if _guarded else [],
)
