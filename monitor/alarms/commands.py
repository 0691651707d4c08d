"""Commands about alarms: ``acknowledge`` and ``shelve``."""

from __future__ import annotations

import getpass
from pathlib import Path

import click

from monitor.clock import now_ms, rfc3339

SITE = click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
PERSON = click.option("--as", "person", default=None, help="Who you are [default: the account's name].")
NOTE = click.option("--note", default="", help="What you found or did.")


@click.command(
    epilog="Example: maturing-room acknowledge site.toml 17 --as Nora --note 'humidifier refilled'"
)
@SITE
@click.argument("alarm", type=int)
@PERSON
@NOTE
def acknowledge(site_file: Path, alarm: int, person: str | None, note: str) -> None:
    """Say that you have seen an alarm; its number stands in `maturing-room alarms`."""
    from monitor.alarms import open_alarms
    from monitor.site import load

    alarms = open_alarms(load(site_file))
    done = alarms.acknowledge(alarm, person or getpass.getuser(), note)
    click.echo(f"Alarm {alarm} is {done.state}.")
    alarms.close()


@click.command(epilog="Example: maturing-room shelve site.toml 17 --hours 4 --note 'washing day'")
@SITE
@click.argument("alarm", type=int)
@click.option(
    "--hours",
    type=click.FloatRange(min=0.1, max=24 * 14),
    default=4.0,
    show_default=True,
    help="For how long.",
)
@PERSON
@NOTE
def shelve(site_file: Path, alarm: int, hours: float, person: str | None, note: str) -> None:
    """Put an alarm aside for some hours; it comes back by itself where it still holds."""
    from monitor.alarms import open_alarms
    from monitor.site import load

    alarms = open_alarms(load(site_file))
    done = alarms.shelve(alarm, person or getpass.getuser(), now_ms() + round(hours * 3_600_000), note)
    click.echo(f"Alarm {alarm} is {done.state} until {rfc3339(done.until_ms)}.")
    alarms.close()


COMMANDS = [acknowledge, shelve]
