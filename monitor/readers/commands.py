"""The command that reads sensors: ``read``."""

from __future__ import annotations

import json
import logging
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from monitor.errors import ReaderAway, SiteFileError
from monitor.readers.base import Reader, open_reader
from monitor.readers.outbox import FILE_NAME, Outbox
from monitor.readers.rounds import start_rounds
from monitor.readers.sending import OutboxSender
from monitor.records import QUANTITIES
from monitor.signals import on_stop
from monitor.site import Site, load


@click.command(
    epilog="\b\nExamples:\n  maturing-room read site.toml --once\n  maturing-room read site.toml --sensor rack-1"
)
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.option(
    "--sensor",
    "sensors",
    multiple=True,
    help="Only this sensor (may be repeated) [default: all with a reader].",
)
@click.option("--once", is_flag=True, help="Read each once, show what it said, and publish nothing.")
@click.option("--json", "as_json", is_flag=True, help="With --once: print a JSON document.")
@click.option(
    "--waiting",
    type=click.Path(path_type=Path, dir_okay=False),
    help=f"File in which messages wait for the broker [default: {FILE_NAME} in the store's folder].",
)
@click.option(
    "--log-level", default="INFO", show_default=True, help="DEBUG, INFO, WARNING or ERROR, to stderr."
)
@click.pass_context
def read(
    context: click.Context,
    site_file: Path,
    sensors: tuple[str, ...],
    once: bool,
    as_json: bool,
    waiting: Path | None,
    log_level: str,
) -> None:
    """Read the sensors that hang on this machine and publish what they say. Ctrl-C stops it.

    Sensors are those with a [sensor.reader] in the site file: chips that the Linux kernel reads (kind = "kernel")
    and transmitters on Modbus (kind = "modbus"). While the broker is away, messages wait on disk.
    """
    logging.basicConfig(level=log_level.upper(), format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    site = load(site_file)
    readers = _readers(site, sensors)
    if once:
        context.exit(0 if _show_once(readers, as_json) else 1)
    outbox = Outbox(waiting or site.data_folder / FILE_NAME)
    sender, stop = OutboxSender(site.broker, outbox), threading.Event()
    on_stop(stop.set)
    sender.start()
    rounds = start_rounds(readers, outbox, stop)
    for turn in rounds:
        turn.thread.join()
    sender.stop()
    outbox.close()


def _readers(site: Site, wanted: Sequence[str]) -> list[Reader]:
    able = {sensor.id: sensor for sensor in site.sensors if sensor.reader is not None}
    if unknown := [name for name in wanted if name not in able]:
        raise SiteFileError(
            f"no sensor {unknown[0]!r} with a reader in the site file; there are {', '.join(able) or 'none'}"
        )
    chosen = [able[name] for name in wanted] if wanted else list(able.values())
    if not chosen:
        raise SiteFileError(
            "no sensor in the site file has a reader; add [sensor.reader] below one (see monitor/docs/readers.md)"
        )
    return [open_reader(sensor) for sensor in chosen]


def _show_once(readers: Sequence[Reader], as_json: bool) -> bool:
    found: list[dict[str, Any]] = [_asked(reader) for reader in readers]
    if as_json:
        click.echo(json.dumps({"version": 1, "sensors": found}, indent=1))
    else:
        for one in found:
            click.echo(_line(one), err=bool(one["fault"]))
    return not any(one["fault"] for one in found)


def _asked(reader: Reader) -> dict[str, Any]:
    try:
        return {"sensor": reader.sensor.id, "values": reader.read(), "fault": ""}
    except ReaderAway as error:
        return {"sensor": reader.sensor.id, "values": {}, "fault": str(error)}
    finally:
        reader.close()


def _line(one: dict[str, Any]) -> str:
    if one["fault"]:
        return str(one["fault"])
    values = [f"{QUANTITIES[q].label} {v:.2f} {QUANTITIES[q].unit}" for q, v in one["values"].items()]
    return f"{one['sensor']}: {', '.join(values) or 'it has no value just now'}"


COMMANDS: list[click.Command] = [read]
