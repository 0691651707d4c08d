"""Commands about what comes in: ``import-readings``, and others from modules of their own."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, get_args

import click
from tqdm import tqdm

from monitor.clock import rfc3339
from monitor.errors import ReadingError, SiteFileError
from monitor.intake.calibrate_command import calibrate
from monitor.intake.csv_form import Column, Form, Order, Stated, form_of
from monitor.intake.csv_import import Account, Target, chunks, import_file, taken
from monitor.intake.csv_times import zone_named
from monitor.intake.judged_command import judged
from monitor.records import QUANTITIES
from monitor.site import Site, load
from monitor.store import open_store

_PAIRS = "QUANTITY=..., may be repeated"


def _pairs(context: click.Context, option: click.Parameter, given: Sequence[str]) -> dict[str, str]:
    found = {}
    for text in given:
        quantity, separator, value = text.partition("=")
        if not separator or not value or quantity not in QUANTITIES:
            raise click.BadParameter(f"{text!r}: write QUANTITY=...; quantities are {', '.join(QUANTITIES)}")
        found[quantity] = value
    return found


@click.command(
    "import-readings",
    epilog="Example: maturing-room import-readings site.toml logger.csv --sensor rack-1 --time-zone Europe/Dublin",
)
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.argument("csv_file", metavar="FILE.csv", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--sensor", help="The sensor these readings are of [default: the file's own column `sensor`].")
@click.option(
    "--time-zone", help="Of the file's times, for example Europe/Dublin or +01:00 [default: the site's]."
)
@click.option(
    "--order", type=click.Choice(get_args(Order)), help="Order of day, month and year in the file's dates."
)
@click.option("--delimiter", help="What stands between columns; write tab for a tabulator.")
@click.option("--decimal", type=click.Choice([".", ","]), help="The decimal sign.")
@click.option(
    "--column", "columns", multiple=True, callback=_pairs, help=f"Heading or number of a column: {_PAIRS}."
)
@click.option("--unit", "units", multiple=True, callback=_pairs, help=f"Unit of a column: {_PAIRS}.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--dry-run", is_flag=True, help="Show how the file is understood and write nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON document (with --yes or --dry-run).")
@click.pass_context
def import_readings(
    context: click.Context,
    site_file: Path,
    csv_file: Path,
    sensor: str | None,
    time_zone: str | None,
    order: Order | None,
    delimiter: str | None,
    decimal: str | None,
    columns: dict[str, str],
    units: dict[str, str],
    yes: bool,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Bring in readings from a logger's CSV file.

    Delimiter, decimal sign, dates, columns and units are told from the file and shown before anything is written;
    state what is wrong. Importing a file again changes nothing: a reading that is there already stays as it first
    came. Rows that cannot be taken are told with their number and reason. Exit status 1 where nothing could be taken.
    """
    site = load(site_file)
    if sensor is not None and sensor not in site.sensor_by_id:
        raise SiteFileError(
            f"no sensor {sensor!r} in {site_file}; there are {', '.join(site.sensor_by_id) or 'none'}"
        )
    stated = Stated("\t" if delimiter == "tab" else delimiter, decimal, order, units, columns)
    form = form_of(csv_file, stated)
    zone = time_zone or site.site.time_zone
    target = Target(site, zone_named(zone), sensor)
    sample = _sample(csv_file, form, target)
    if not as_json:
        _show_form(csv_file, form, zone, sample)
    if dry_run:
        if as_json:
            click.echo(
                json.dumps(
                    {"version": 1, "form": asdict(form), "time_zone": zone, "sample": sample}, indent=1
                )
            )
        return
    if form.doubts and yes:
        raise ReadingError(f"{csv_file}: {form.doubts[0]}")
    if not yes:
        click.confirm("Is that right, and shall it be imported?", abort=True)
    account = _import(site, csv_file, form, target)
    _tell(account, as_json)
    context.exit(0 if account.new or account.already or account.differing else 1)


def _import(site: Site, csv_file: Path, form: Form, target: Target) -> Account:
    store = open_store(site)
    try:
        with tqdm(
            unit=" rows", desc=csv_file.name[:40], file=sys.stderr, disable=not sys.stderr.isatty()
        ) as bar:
            return import_file(store, csv_file, form, target, lambda rows: bar.update(rows) and None)
    finally:
        store.close()


def _sample(csv_file: Path, form: Form, target: Target) -> list[dict[str, Any]]:
    """The first readings as they are understood."""
    lines: list[dict[str, Any]] = []
    for chunk in chunks(csv_file, form, 200):
        for (sensor, quantity), series, _ in taken(chunk, form, _or_any(target, form), Account()):
            for row in series.rows[:2].tolist():
                lines.append({"sensor": sensor, "quantity": quantity, "at": rfc3339(row[0]), "value": row[1]})
        break
    return lines


def _or_any(target: Target, form: Form) -> Target:
    return replace(target, sensor="?") if target.sensor is None and form.sensor_column is None else target


def _show_form(csv_file: Path, form: Form, zone: str, sample: Sequence[dict[str, Any]]) -> None:
    between = {"\t": "tab", ";": "semicolon", ",": "comma"}.get(form.delimiter, form.delimiter)
    clock = (
        "with their own offset" if form.has_offset or form.order.startswith("epoch") else f"clock of {zone}"
    )
    click.echo(f"{csv_file}: columns by {between}, decimal {form.decimal!r}, dates {form.order}, {clock}")
    for column in form.columns:
        click.echo(f"  {column.heading or f'column {column.at + 1}'!s:30.30} -> {_said(column)}")
    for doubt in form.doubts:
        click.echo(f"  IN DOUBT: {doubt}")
    click.echo("understood as:")
    for line in sample[:6]:
        unit = QUANTITIES[line["quantity"]].unit
        click.echo(f"  {line['at']}  {line['sensor']}  {line['quantity']} {line['value']:.2f} {unit}")


def _said(column: Column) -> str:
    if column.quantity not in QUANTITIES:
        return "the value, of the quantity that the row names"
    return f"{column.quantity}, {column.unit or QUANTITIES[column.quantity].unit}"


def _tell(account: Account, as_json: bool) -> None:
    if as_json:
        span = {"from_at": rfc3339(account.first_ms), "to_at": rfc3339(account.last_ms)}
        click.echo(json.dumps({"version": 1, **span, **asdict(account)}, indent=1))
        return
    click.echo(
        f"{account.rows} rows: {account.new} readings new, {account.already} there already"
        + (
            f", {account.differing} there with another value (left as they first came)"
            if account.differing
            else ""
        )
        + (f", {account.doubled} twice in the file" if account.doubled else "")
        + (f", {account.empty} cells empty" if account.empty else "")
    )
    if account.refused:
        click.echo(f"{account.refused} refused:", err=True)
        for row, reason in account.refused_rows:
            click.echo(f"  row {row}: {reason}", err=True)
        if account.refused > len(account.refused_rows):
            click.echo(f"  and {account.refused - len(account.refused_rows)} more", err=True)


COMMANDS: list[click.Command] = [import_readings, calibrate, judged]
