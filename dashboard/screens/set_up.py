"""Set-up: sensors seen and not yet named, placing them, calibration step by step, test messages, health, the site file."""

from __future__ import annotations

import streamlit as st

from dashboard.language import say
from dashboard.parts import headline
from dashboard.screens import set_up_calibration, set_up_file, set_up_health, set_up_messages, set_up_sensors
from dashboard.source import Source

PARTS = {
    "sensors": ("Sensors", set_up_sensors.show), "calibration": ("Calibration", set_up_calibration.show),
    "messages": ("Messages", set_up_messages.show), "health": ("Health", set_up_health.show), "file": ("Site file", set_up_file.show),
}  # fmt: skip
"""The parts of the page: each one's name, and what draws it."""


def show(source: Source) -> None:
    """Draw the page."""
    st.html(headline(say("Set-up")))
    part = st.segmented_control(
        say("What do you set up?"), list(PARTS), format_func=lambda p: say(PARTS[p][0]), default="sensors", key="set-up-part",
        required=True, label_visibility="collapsed", persist_state="session",
    )  # fmt: skip
    PARTS[part or "sensors"][1](source)
