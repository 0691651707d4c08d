"""Commands about the store: ``backup``, ``restore``, ``verify`` and ``export``."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path

import click

from monitor.clock import rfc3339
from monitor.errors import StoreError
from monitor.site import Site, load
from monitor.store import open_store
from monitor.store.embedded import FILE_NAME
from monitor.store.exporting import export as export_readings
from monitor.store.exporting import moment_ms
from monitor.store.gaps import Gap, gaps_of
from monitor.store.safekeeping import Account
from monitor.store.safekeeping import backup as make_backup
from monitor.store.safekeeping import restore as bring_back
from monitor.store.safekeeping import verify as check_through
from monitor.store.spool import NEAR_FILE_NAME, NearStore

GAPS_SHOWN = 10
SITE = click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))


def _file_of(site: Site) -> Path:
    return site.data_folder / (FILE_NAME if site.store.kind == "embedded" else NEAR_FILE_NAME)


def _gaps(site: Site) -> list[Gap]:
    store = open_store(site)
    try:
        return gaps_of(store, site)
    finally:
        store.close()


def _said(account: Account) -> str:
    return (
        f"{account.readings} readings of {account.series} series ({account.sealed_days} sealed days), "
        f"{account.air_records} air records"
    )


@click.command(epilog="Example: maturing-room backup site.toml /mnt/stick/readings-2026-03-01.sqlite")
@SITE
@click.argument("target", type=click.Path(path_type=Path))
def backup(site_file: Path, target: Path) -> None:
    """Copy the readings to a file of their own while the monitor runs, and verify the copy.

    The ledger of wheels and the alarm journal are files beside the readings; copy those too.
    """
    account = make_backup(_file_of(load(site_file)), target)
    click.echo(f"{target}: sound; {_said(account)}")


@click.command(epilog="Example: maturing-room restore site.toml /mnt/stick/readings-2026-03-01.sqlite --yes")
@SITE
@click.argument("source", type=click.Path(path_type=Path))
@click.option("--yes", is_flag=True, help="Do not ask.")
def restore(site_file: Path, source: Path, yes: bool) -> None:
    """Put a backup in the place of the readings. Stop the monitor first; what was there is kept beside it."""
    site = load(site_file)
    store = _file_of(site)
    if not yes:
        click.confirm(f"Is the monitor stopped, and shall {source} take the place of {store}?", abort=True)
    aside = bring_back(source, store)
    if site.store.kind == "influx":
        near = NearStore(store)
        near.begin()  # what came in since the backup is in InfluxDB alone
        near.close()
    click.echo(f"{store}: restored" + (f"; what was there is now {aside}" if aside else ""))


@click.command(epilog="Example: maturing-room verify site.toml")
@SITE
@click.option("--json", "as_json", is_flag=True, help="Print a JSON document.")
@click.pass_context
def verify(context: click.Context, site_file: Path, as_json: bool) -> None:
    """Check the readings through: structure, sealed days, doubles, counts, and gaps.

    Exit status 1 where faults are found. Gaps, in which a sensor said nothing for three of its intervals, are no faults
    of the store; they are told so that nobody takes a hole for calm air.
    """
    site = load(site_file)
    account = check_through(_file_of(site))
    found = _gaps(site) if account.sound else []
    if as_json:
        told = [{"sensor": g.sensor, "quantity": g.quantity, "from_at": rfc3339(g.start_ms), "to_at": rfc3339(g.end_ms)}
                for g in found]  # fmt: skip
        click.echo(json.dumps({"version": 1, "sound": account.sound, **asdict(account), "gaps": told}))
    else:
        click.echo(f"{'sound' if account.sound else 'NOT SOUND'}: {_said(account)}")
        if found:
            click.echo(f"{len(found)} gaps, {sum(g.hours for g in found):,.1f} hours in all; the longest:")
        for gap in found[:GAPS_SHOWN]:
            span = f"{rfc3339(gap.start_ms)} to {rfc3339(gap.end_ms)}"
            click.echo(f"  {gap.hours:8,.1f} h  {gap.sensor} {gap.quantity}  {span}")
        for fault in account.faults:
            click.echo(f"  {fault}", err=True)
    if not account.sound:
        click.echo(
            "maturing-room: bring back a backup with: maturing-room restore SITE.toml BACKUP", err=True
        )
        context.exit(1)


@click.command(
    epilog="Example: maturing-room export site.toml --sensor rack-1 --from 2026-01-01 > rack-1.csv"
)
@SITE
@click.option("--sensor", help="Only this sensor [default: all].")
@click.option("--from", "start", help="First moment, RFC 3339 or a date in UTC.")
@click.option("--to", "end", help="Moment before which to stop.")
@click.option("--output", type=click.Path(path_type=Path), help="File to write [default: standard output].")
def export(
    site_file: Path, sensor: str | None, start: str | None, end: str | None, output: Path | None
) -> None:
    """Write raw readings as CSV: time, sensor, quantity, value, flag, reason."""
    try:
        span = moment_ms(start, 0), moment_ms(end, 2**52)
    except ValueError as error:
        raise click.UsageError(f"{error}; write for example 2026-03-01 or 2026-03-01T06:00:00Z") from error
    store = open_store(load(site_file))
    try:
        if output is None:
            export_readings(store, sys.stdout, *span, sensor)
        else:
            with open(output, "w", newline="", encoding="utf-8") as stream:
                count = export_readings(store, stream, *span, sensor)
            click.echo(f"{output}: {count} readings")
    finally:
        store.close()


@click.command(
    "prepare-store",
    epilog="Example: MATURING_INFLUX_TOKEN=... maturing-room prepare-store site.toml --keep-days 3650",
)
@SITE
@click.option(
    "--keep-days", type=click.IntRange(1, 36_500), help="How long points are kept [default: for ever]."
)
@click.option("--yes", is_flag=True, help="Do not ask.")
def prepare_store(site_file: Path, keep_days: int | None, yes: bool) -> None:
    """Make the InfluxDB bucket that the site file asks for, or change how long an existing one keeps its points.

    A shorter time makes InfluxDB delete what is older. Needs a token that may read and write buckets.
    """
    site = load(site_file)
    if site.store.kind != "influx":
        raise StoreError('this command is for a site file with [store] kind = "influx"')
    from monitor.store.influx_far import far_of
    from monitor.store.influx_setup import prepare

    if keep_days is not None and not yes:
        click.confirm(f"Shall InfluxDB delete points older than {keep_days} days?", abort=True)
    far = far_of(site.store)
    try:
        click.echo(prepare(far, keep_days))
    finally:
        far.close()


COMMANDS: list[click.Command] = [backup, restore, verify, export, prepare_store]
