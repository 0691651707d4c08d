"""The page server: Streamlit's own, with the gate before it where people sign in, and the site's plain documents beside it.

Started by `dashboard.launch.command`; the site file is named on the command line.
"""

from __future__ import annotations

import streamlit as st
from starlette.middleware import Middleware
from starlette.routing import Route
from streamlit.starlette import App

from dashboard import gate
from dashboard.launch import site_path
from dashboard.signing import door_of
from monitor.site import load

_door = door_of(load(site_path()), st.get_option("server.address"))
_guarded = _door.mode == "people"

app = App(
    "app.py",
    routes=[
        Route(gate.LANGUAGE, gate.choose_language, methods=["GET"]),
        *(gate.routes(_door) if _guarded else []),
    ],
    middleware=[Middleware(gate.Gate, door=_door)] if _guarded else [],
)
