"""Commands that run the monitor: ``run`` and ``demo``."""

from __future__ import annotations

import json
import logging
from pathlib import Path

import click

from monitor.answers_text import health_text
from monitor.health import health_of
from monitor.service import PARTS, Service
from monitor.signals import on_stop
from monitor.site import load


@click.command(
    epilog="\b\nExamples:\n  maturing-room run site.toml\n  maturing-room run site.toml --part intake"
)
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.option(
    "--part", "parts", multiple=True, type=click.Choice(PARTS), help="Run only this part (may be repeated)."
)
@click.option(
    "--log-level", default="INFO", show_default=True, help="DEBUG, INFO, WARNING or ERROR, to stderr."
)
@click.option(
    "--worker", default="", help="This worker's own name, where several share the intake (broker.share_name)."
)
def run(site_file: Path, parts: tuple[str, ...], log_level: str, worker: str) -> None:
    """Run the monitor: take in readings, judge the air, raise alarms, send messages. Ctrl-C stops it."""
    logging.basicConfig(level=log_level.upper(), format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    service = Service(load(site_file), parts or PARTS, worker)
    on_stop(service.stop)
    service.run()


@click.command(epilog="Example: maturing-room demo --folder my-demo --port 8600")
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Keep everything here [default: a new folder].",
)
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, help="The page's port [default: a free one]."
)
@click.option(
    "--seconds", type=click.FloatRange(min=0), help="Stop by itself after so long [default: until Ctrl-C]."
)
@click.option("--no-dashboard", is_flag=True, help="Run without the page.")
def demo(folder: Path | None, port: int, seconds: float | None, no_dashboard: bool) -> None:
    """Run an invented site on embedded parts: broker, simulated rooms, store, rules, alarms, and the page.

    Nothing is sent outside this machine. All rooms, wheels and readings are invented.
    """
    from monitor.demo import Demo

    Demo(folder, port, seconds, with_page=not no_dashboard).run()


@click.command(
    epilog="Example, from a timer: maturing-room health site.toml || mail -s 'monitor' someone@example.org"
)
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the JSON document (see monitor/docs/json.md).")
@click.pass_context
def health(context: click.Context, site_file: Path, as_json: bool) -> None:
    """Show how the monitor itself is doing. Exit status 1 where it does not run or one of its parts is not well."""
    document = health_of(load(site_file))
    click.echo(json.dumps(document, indent=1, ensure_ascii=False) if as_json else health_text(document))
    context.exit(0 if document["well"] else 1)


COMMANDS = [run, demo, health]
