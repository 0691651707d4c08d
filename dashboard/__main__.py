"""Serves the pages of a site: ``python -m dashboard SITE.toml [--port N]``."""

from __future__ import annotations

import argparse
import os

from dashboard.launch import command, environment


def main() -> None:
    """Start the page server in place of this process, listening on this machine only."""
    parser = argparse.ArgumentParser(
        prog="python -m dashboard", description="Serve the pages of a site on this machine."
    )
    parser.add_argument("site", metavar="SITE.toml")
    parser.add_argument("--port", type=int, default=8501, help="default: 8501")
    arguments = parser.parse_args()
    line = command(arguments.site, arguments.port)
    os.execvpe(line[0], line, environment())


if __name__ == "__main__":
    main()
