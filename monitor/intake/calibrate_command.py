"""The command that guides a calibration and records it: ``calibrate``."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from monitor.clock import now, parse_rfc3339
from monitor.errors import SiteFileError
from monitor.intake.calibration_guide import calibration_change, guide, over_salts
from monitor.records import QUANTITIES
from monitor.site import Site, load
from monitor.site.editing import write

Points = list[tuple[float, float]]


def _salts(context: click.Context, option: click.Parameter, given: Sequence[str]) -> dict[str, float]:
    return dict(_pair(text, "SALT=READING") for text in given)


def _points(context: click.Context, option: click.Parameter, given: Sequence[str]) -> Points:
    return [(float_of(read, text), value) for text in given for read, value in (_pair(text, "READING=TRUE"),)]


def _pair(text: str, form: str) -> tuple[str, float]:
    name, separator, value = text.partition("=")
    if not separator or not name:
        raise click.BadParameter(f"{text!r}: write {form}")
    return name.strip(), float_of(value, text)


def float_of(value: str, text: str) -> float:
    """A number within a text given on the command line."""
    try:
        return float(value)
    except ValueError:
        raise click.BadParameter(f"{text!r}: {value!r} is not a number") from None


@click.command(
    epilog="\b\nExamples:\n  maturing-room calibrate site.toml rack-1\n  "
    "maturing-room calibrate site.toml rack-1 --temperature 11 --salt KCl=88.1 --salt NaCl=77.0"
)
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.argument("sensor")
@click.option("--quantity", default="humidity", show_default=True, help="humidity or temperature.")
@click.option(
    "--temperature", "temperature_c", default=12.0, show_default=True, help="Where the jar stands [degC]."
)
@click.option(
    "--salt",
    "salts",
    multiple=True,
    callback=_salts,
    help="SALT=READING over a saturated salt, once or twice.",
)
@click.option("--ice", type=float, help="What a temperature sensor read in melting ice [degC].")
@click.option(
    "--point", "points", multiple=True, callback=_points, help="READING=TRUE beside a reference instrument."
)
@click.option(
    "--at", help="When, RFC 3339 [default: now]; a date in the past has what it touches made again."
)
@click.option("--note", default="", help="What to remember with it.")
@click.option("--yes", is_flag=True, help="Write without asking.")
@click.option("--json", "as_json", is_flag=True, help="Print the guide as a JSON document.")
def calibrate(
    site_file: Path,
    sensor: str,
    quantity: str,
    temperature_c: float,
    salts: dict[str, float],
    ice: float | None,
    points: Points,
    at: str | None,
    note: str,
    yes: bool,
    as_json: bool,
) -> None:
    """Show how to calibrate a sensor, or record what it read.

    Without readings: which fixed point, how long, what it should read, how it has drifted, and when it is due.
    With readings: shows the change to the site file and writes it once you agree, keeping the file as it was beside
    it. Raw readings are never altered; derived values from that date on are made again when the monitor next starts.
    """
    site = load(site_file)
    if sensor not in site.sensor_by_id:
        raise SiteFileError(f"no sensor {sensor!r} in {site_file}; there are {', '.join(site.sensor_by_id)}")
    quantity = "temperature" if ice is not None else quantity
    found = [*over_salts(salts, temperature_c), *([(ice, 0.0)] if ice is not None else []), *points]
    if not found:
        _show(guide(site, site.sensor_by_id[sensor], quantity, temperature_c, now()), as_json)
        return
    how = note or _how(salts, ice, temperature_c)
    change = calibration_change(site_file, sensor, quantity, found, _moment(at, site), how)
    click.echo(change.diff)
    if not yes:
        click.confirm(f"Shall this be written to {site_file}?", abort=True)
    click.echo(
        f"{site_file}: written; as it was it is now {write(change)}. Start the monitor again to use it."
    )


def _moment(at: str | None, site: Site) -> datetime:
    if at is None:
        return now()
    try:
        return parse_rfc3339(at)
    except ValueError as error:
        raise click.UsageError(f"--at: {error}") from error


def _how(salts: dict[str, float], ice: float | None, temperature_c: float) -> str:
    if salts:
        return f"over {' and '.join(salts)} at {temperature_c:g} degC"
    return "melting ice" if ice is not None else "beside a reference instrument"


def _show(document: dict[str, Any], as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
        return
    unit = QUANTITIES[document["quantity"]].unit
    click.echo(f"Calibrating {document['quantity']} of {document['sensor']}")
    for number, step in enumerate(document["steps"], start=1):
        click.echo(f"  {number}. {step}")
    for point in document["fixed_points"][2:]:
        click.echo(f"     Also known: {point['salt']} ({point['name']}), {point['rh_pct']:g} %.")
    for drift in document["drifts"]:
        click.echo(
            f"  By {drift['at'][:10]}, after {drift['after_days']:g} days, it had moved by {drift['change']:+.2f} {unit}."
        )
    last, due = document["last_at"], document["due_at"]
    word = "never calibrated here" if last is None else f"last calibrated {last[:10]}"
    click.echo(
        f"  It was {word}" + (f"; due {due[:10]}{' (overdue)' if document['due'] else ''}." if due else ".")
    )
