"""The command and environment that start the dashboard, safe by default: loopback, no telemetry, no watcher."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from dashboard.signing import SECRETS, mode_of
from monitor.site import load

SERVER = Path(__file__).with_name("serve.py")

SETTINGS: dict[str, str] = {
    "browser.gatherUsageStats": "false",
    "server.headless": "true",
    "server.fileWatcherType": "none",
    "server.runOnSave": "false",
    "server.enableStaticServing": "true",
    "server.enableAgentApi": "false",
    "server.enableXsrfProtection": "true",
    "server.enableCORS": "true",
    "server.maxUploadSize": "60",
    "server.disconnectedSessionTTL": "120",
    "runner.postScriptGC": "false",
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",
    "client.showErrorLinks": "false",
    "global.developmentMode": "false",
}
"""Streamlit options that are always set, whatever a settings file of the user or the folder says.

More is taken up than a photo may have, so that a photo that is too large is refused in our words and not the server's.
Python tidies its memory by itself; told to do so after each refresh of each open page, it took half of all the time.
"""


def command(
    site: str | Path, port: int, address: str = "127.0.0.1", certificate: tuple[str, str] | None = None
) -> list[str]:
    """The command line that serves a site's dashboard at ``address`` and ``port``.

    Parameters
    ----------
    certificate : the files of a TLS certificate and of its key, where the pages speak TLS themselves

    Raises
    ------
    MonitorError
        The site file has faults, or others can reach the address and nobody would sign in.
    """
    path = Path(site).resolve()
    mode_of(load(path), address)
    options = dict(SETTINGS)
    if (secrets := path.parent / SECRETS).exists():
        options["secrets.files"] = str(secrets)
    if certificate:
        options["server.sslCertFile"], options["server.sslKeyFile"] = certificate
    return [
        sys.executable, "-m", "streamlit", "run", str(SERVER),
        f"--server.address={address}", f"--server.port={port}",
        *(f"--{name}={value}" for name, value in options.items()),
        "--", str(path),
    ]  # fmt: skip


def site_path() -> str:
    """The site file named on the command line, or else in the environment."""
    named = [argument for argument in sys.argv[1:] if not argument.startswith("-")]
    return named[0] if named else os.environ.get("MATURING_SITE", "site.toml")


def environment(base: dict[str, str] | None = None) -> dict[str, str]:
    """The environment to start `command` in: as given (or this process's own), with telemetry off."""
    surroundings = dict(os.environ if base is None else base)
    surroundings["STREAMLIT_BROWSER_GATHER_USAGE_STATS"] = "false"
    surroundings["STREAMLIT_SERVER_SHOW_EMAIL_PROMPT"] = "false"
    # Each page is drawn in a thread of its own: without this the C library keeps a heap for each, half empty.
    surroundings.setdefault("MALLOC_ARENA_MAX", "2")
    surroundings.setdefault("MALLOC_TRIM_THRESHOLD_", "1000000")
    return surroundings
