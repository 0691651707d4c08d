"""The command and environment that start the dashboard, safe by default: loopback, no telemetry, no watcher."""

from __future__ import annotations

import os
import sys
from pathlib import Path

APP = Path(__file__).with_name("app.py")

SETTINGS: dict[str, str] = {
    "browser.gatherUsageStats": "false",
    "server.headless": "true",
    "server.fileWatcherType": "none",
    "server.runOnSave": "false",
    "server.enableStaticServing": "true",
    "server.enableXsrfProtection": "true",
    "server.enableCORS": "true",
    "server.maxUploadSize": "20",
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",
    "client.showErrorLinks": "false",
    "global.developmentMode": "false",
}
"""Streamlit options that are always set, whatever a settings file of the user or the folder says."""


def command(site_path: str | Path, port: int, address: str = "127.0.0.1") -> list[str]:
    """The command line that serves a site's dashboard at ``address`` and ``port``."""
    options = [f"--{name}={value}" for name, value in SETTINGS.items()]
    return [
        sys.executable, "-m", "streamlit", "run", str(APP),
        f"--server.address={address}", f"--server.port={port}", *options,
        "--", str(Path(site_path).resolve()),
    ]  # fmt: skip


def environment(base: dict[str, str] | None = None) -> dict[str, str]:
    """The environment to start `command` in: as given (or this process's own), with telemetry off."""
    surroundings = dict(os.environ if base is None else base)
    surroundings["STREAMLIT_BROWSER_GATHER_USAGE_STATS"] = "false"
    surroundings["STREAMLIT_SERVER_SHOW_EMAIL_PROMPT"] = "false"
    return surroundings
