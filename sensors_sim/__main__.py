"""The command: ``python -m sensors_sim run|make|check SCENARIO``."""

from __future__ import annotations

import logging
import signal
import sys
import threading
from pathlib import Path
from typing import Literal

import click

from monitor import __version__
from sensors_sim.errors import SimulationError
from sensors_sim.live import BrokerAddress, publish
from sensors_sim.scenario_file import read_scenario


@click.group(epilog="Example: python -m sensors_sim run SCENARIO.toml --broker 127.0.0.1:1883 --speed 10")
@click.version_option(__version__, prog_name="sensors_sim")
def main() -> None:
    """Simulated maturing rooms whose truth is known.  Everything they say is invented."""
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(message)s", stream=sys.stderr)


@main.command(epilog="Example: python -m sensors_sim run SCENARIO.toml --broker 127.0.0.1:1883 --speed 10")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--broker", default="127.0.0.1:1883", show_default=True, help="HOST:PORT of the MQTT broker.")
@click.option("--username-env", default=None, help="Environment variable that holds the user name.")
@click.option("--password-env", default=None, help="Environment variable that holds the password.")
@click.option("--tls/--no-tls", default=False, help="Encrypt the connection.")
@click.option("--ca", "ca_file", default=None, help="Certificate file to trust for TLS.")
@click.option("--client-id", default="sensors-sim", show_default=True)
@click.option("--speed", default=1.0, show_default=True, help="Simulated seconds in a real one.")
@click.option("--seconds", default=None, type=float, help="Stop after so many real seconds.")
@click.option(
    "--stamps",
    type=click.Choice(["real", "simulated"]),
    default="real",
    show_default=True,
    help="The time that messages state: now, or the time in the scenario.",
)
def run(
    scenario: Path,
    broker: str,
    username_env: str | None,
    password_env: str | None,
    tls: bool,
    ca_file: str | None,
    client_id: str,
    speed: float,
    seconds: float | None,
    stamps: Literal["real", "simulated"],
) -> None:
    """Publish a scenario live over MQTT, QoS 1."""
    host, _, port = broker.rpartition(":")
    if not host or not port.isdigit() or not 1 <= int(port) <= 65535:
        raise click.BadParameter(
            f"{broker!r}: write HOST:PORT, for example 127.0.0.1:1883", param_hint="--broker"
        )
    if not 0.001 <= speed <= 100_000:
        raise click.BadParameter("write a speed between 0.001 and 100000", param_hint="--speed")
    address = BrokerAddress(
        host.strip("[]"), int(port), username_env, password_env, tls or bool(ca_file), ca_file, client_id
    )
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        # From a thread: the main one may hold the event's lock at this very moment.
        signal.signal(number, lambda *_: threading.Thread(target=stop.set, daemon=True).start())
    try:
        count = publish(read_scenario(scenario), address, speed, seconds, stop, stamps)
    except SimulationError as error:
        raise click.ClickException(str(error)) from error
    click.echo(f"{count} messages acknowledged by the broker")


@main.command(epilog="Example: python -m sensors_sim make SCENARIO.toml --to a-year")
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--to", "folder", type=click.Path(path_type=Path), required=True, help="Folder for the files.")
@click.option("--quiet", is_flag=True, help="No progress bar.")
def make(scenario: Path, folder: Path, quiet: bool) -> None:
    """Write a scenario's readings, ledger and truth as files."""
    from sensors_sim.make import make_files

    try:
        summary = make_files(read_scenario(scenario), folder, show_progress=not quiet)
    except SimulationError as error:
        raise click.ClickException(str(error)) from error
    click.echo(
        f"{summary.readings:,} messages of {summary.sensors} sensors, {summary.entries:,} ledger entries, "
        f"{summary.wheels} wheels in {folder}"
    )


@main.command(epilog="Example: python -m sensors_sim check SCENARIO.toml")
@click.argument("scenario", type=click.Path(path_type=Path))
def check(scenario: Path) -> None:
    """Say whether a scenario can be run."""
    try:
        found = read_scenario(scenario)
    except SimulationError as error:
        raise click.ClickException(str(error)) from error
    click.echo(f"{found.name}: {len(found.rooms)} rooms, {len(found.sensors)} sensors, {found.days:g} days")


if __name__ == "__main__":
    main()
