"""The ``maturing-room`` command."""

from __future__ import annotations

import importlib
import json
import sys
import traceback
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

import click

from monitor import __version__
from monitor.errors import MonitorError, SiteFileError

SITE = click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
AS_JSON = click.option(
    "--json", "as_json", is_flag=True, help="Print the JSON document (see monitor/docs/json.md)."
)
FURTHER = (
    "monitor.service_commands",
    "monitor.intake.commands",
    "monitor.readers.commands",
    "monitor.store.commands",
    "monitor.alarms.commands",
    "monitor.wheels.commands",
    "monitor.review.commands",
    "monitor.link.commands",
)


class Commands(click.Group):
    """The commands here and those that the packages bring, looked up only when asked for."""

    def list_commands(self, context: click.Context) -> list[str]:
        self._add_further()
        return sorted(self.commands)

    def get_command(self, context: click.Context, name: str) -> click.Command | None:
        if name not in self.commands:
            self._add_further()
        return self.commands.get(name)

    def _add_further(self) -> None:
        for module in FURTHER:
            for command in importlib.import_module(module).COMMANDS:
                self.add_command(command)


@click.group(
    cls=Commands,
    epilog="Try first: maturing-room demo      Then, with a site file of your own: maturing-room check SITE.toml",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="maturing-room")
@click.option("--debug", is_flag=True, help="Show the traceback of an error (may stand anywhere).")
def cli(debug: bool) -> None:
    """Watch the air of cheese maturing rooms and relate it to the rind of every wheel.

    Every command but `demo` takes the site file: one TOML file that names the rooms, sensors and styles.
    Exit status: 0 fine, 1 failed, 2 wrong use (a fault in the site file too).
    """


@cli.command(epilog="Example: maturing-room check site.toml && maturing-room run site.toml")
@SITE
@click.pass_context
def check(context: click.Context, site_file: Path) -> None:
    """Check a site file and list every fault: file, line, key, and what would be right."""
    from monitor.readers import reader_faults
    from monitor.site import check_file

    site, found = check_file(site_file)
    faults = [str(fault) for fault in found]
    if site is not None:
        faults = [f"{site_file}: {fault}" for fault in reader_faults(site)]
    for fault in faults:
        click.echo(fault, err=True)
    if site is None or faults:
        count = f"{len(faults)} fault{'' if len(faults) == 1 else 's'}"
        click.echo(f"maturing-room: {count} in {site_file}; mend them and check again", err=True)
        context.exit(2)
    for note in _notes(site):
        click.echo(f"note: {note}", err=True)
    rooms, sensors, styles = len(site.rooms), len(site.sensors), len(site.styles)
    click.echo(f"{site_file}: fine ({rooms} rooms, {sensors} sensors, {styles} styles)")


def _notes(site: Any) -> list[str]:
    """What the environment lacks to send messages: no fault of the file, which may be checked elsewhere."""
    if not site.routes:
        return []
    from monitor.alarms.sender import address_faults
    from monitor.alarms.tokens import secret_of

    notes = address_faults(site)
    try:
        secret_of(site)
    except MonitorError as error:
        notes.append(str(error))
    return notes


@cli.command(epilog="Example: maturing-room rooms site.toml --json | jq '.rooms[].sentence'")
@SITE
@AS_JSON
def rooms(site_file: Path, as_json: bool) -> None:
    """Show how every room is now: its air, its paces, what stands, and what could not be read."""
    from monitor.answers import rooms_document
    from monitor.answers_text import rooms_text
    from monitor.site import load

    _show(rooms_document(load(site_file)), as_json, rooms_text)


@cli.command(epilog="Example: maturing-room alarms site.toml")
@SITE
@AS_JSON
def alarms(site_file: Path, as_json: bool) -> None:
    """Show the alarms that stand and those that stood lately."""
    from monitor.alarms.texts import alarms_text
    from monitor.answers import alarms_document
    from monitor.site import load

    site = load(site_file)
    _show(alarms_document(site), as_json, partial(alarms_text, zone=site.site.zone))


@cli.command(epilog="Example: maturing-room review site.toml HF-0412-03")
@SITE
@click.argument("wheel")
@AS_JSON
def review(site_file: Path, wheel: str, as_json: bool) -> None:
    """Show what a wheel has been through and what to check before ironing it."""
    from monitor.answers import review_document
    from monitor.answers_text import review_text
    from monitor.site import load

    site = load(site_file)
    _show(review_document(site, wheel), as_json, partial(review_text, zone=site.site.zone))


def _show(document: Any, as_json: bool, as_text: Any) -> None:
    click.echo(json.dumps(document, indent=1, ensure_ascii=False) if as_json else as_text(document))


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    debug = "--debug" in given
    given = [a for a in given if a != "--debug"]
    try:
        outcome = cli.main(args=given, prog_name="maturing-room", standalone_mode=False)
        return outcome if isinstance(outcome, int) else 0
    except click.ClickException as error:
        error.show()
        return 2 if isinstance(error, click.UsageError) else 1
    except (click.Abort, KeyboardInterrupt):
        click.echo("maturing-room: stopped", err=True)
        return 130
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except Exception as error:
        return _failed(error, debug)


def _failed(error: Exception, debug: bool) -> int:
    if debug:
        traceback.print_exc()
    if isinstance(error, MonitorError):
        click.echo(f"maturing-room: {error}", err=True)
        return 2 if isinstance(error, SiteFileError) else 1
    advice = "" if debug else "; run it again with --debug to see where"
    click.echo(f"maturing-room: unexpected {type(error).__name__}: {error}{advice}", err=True)
    return 1


if __name__ == "__main__":
    sys.exit(main())
