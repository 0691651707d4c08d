"""Serves the pages of a site: ``python -m dashboard SITE.toml [--port N] [--address A]``."""

from __future__ import annotations

import argparse
import os
import sys

from dashboard.launch import command, environment
from monitor.errors import MonitorError


def main() -> None:
    """Start the page server in place of this process; on this machine alone unless told otherwise."""
    parser = argparse.ArgumentParser(prog="python -m dashboard", description="Serve the pages of a site.")
    parser.add_argument("site", metavar="SITE.toml")
    parser.add_argument("--port", type=int, default=8501, help="default: 8501")
    parser.add_argument("--address", default="127.0.0.1", help="default: 127.0.0.1, this machine alone")
    parser.add_argument(
        "--certificate", nargs=2, metavar=("CERTIFICATE.pem", "KEY.pem"), help="speak TLS with these"
    )
    said = parser.parse_args()
    try:
        line = command(
            said.site, said.port, said.address, tuple(said.certificate) if said.certificate else None
        )
    except MonitorError as error:
        sys.exit(str(error))
    os.execvpe(line[0], line, environment())


if __name__ == "__main__":
    main()
