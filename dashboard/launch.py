"""The command and environment that start the dashboard, safe by default: loopback, no telemetry, no watcher."""

from __future__ import annotations

import os
import sys
from ipaddress import ip_address
from pathlib import Path

from monitor.errors import MonitorError

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
    """The command line that serves a site's dashboard at ``address`` and ``port``.

    Raises
    ------
    MonitorError
        The address can be reached from other machines, and the pages have no signing in.
    """
    refuse_beyond_loopback(address)
    options = [f"--{name}={value}" for name, value in SETTINGS.items()]
    return [
        sys.executable, "-m", "streamlit", "run", str(APP),
        f"--server.address={address}", f"--server.port={port}", *options,
        "--", str(Path(site_path).resolve()),
    ]  # fmt: skip


def refuse_beyond_loopback(address: str | None) -> None:
    """Raise `MonitorError` where an address (None: every one) is not of this machine alone.

    Anyone who reaches the pages can write, so others may reach them only through something that signs people in.
    """
    try:
        own = address == "localhost" or ip_address(address or "").is_loopback
    except ValueError:
        own = False
    if not own:
        raise MonitorError(
            f"The pages have no signing in yet, so they are not served at {address or 'every address'}. Serve them at 127.0.0.1, "
            "and let a reverse proxy with TLS and a sign-in of its own lead to them."
        )


def environment(base: dict[str, str] | None = None) -> dict[str, str]:
    """The environment to start `command` in: as given (or this process's own), with telemetry off."""
    surroundings = dict(os.environ if base is None else base)
    surroundings["STREAMLIT_BROWSER_GATHER_USAGE_STATS"] = "false"
    surroundings["STREAMLIT_SERVER_SHOW_EMAIL_PROMPT"] = "false"
    return surroundings
