"""The command that shows what readings are taken for: ``judged``."""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import click
import pandas as pd

from monitor.climate.air_records import judged_span
from monitor.clock import rfc3339
from monitor.errors import SiteFileError
from monitor.intake.calibration import judging
from monitor.intake.quality import SCHEME
from monitor.records import GOOD_FLAGS
from monitor.site import Site, load
from monitor.store import open_store
from monitor.store.exporting import moment_ms
from monitor.store.protocol import Store

COLUMNS = ("time", "sensor", "quantity", "raw", "value", "flag", "reason", "scheme")


@click.command(epilog="Example: maturing-room judged site.toml rack-1 --from 2026-03-01 --doubtful")
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.argument("sensor")
@click.option("--from", "start", help="First moment, RFC 3339 or a date in UTC.")
@click.option("--to", "end", help="Moment before which to stop.")
@click.option("--doubtful", is_flag=True, help="Only readings that are left out of the air records.")
def judged(site_file: Path, sensor: str, start: str | None, end: str | None, doubtful: bool) -> None:
    """Show a sensor's readings as CSV: raw, calibrated, the quality flag with its reason, and the scheme that judged.

    Flags: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing (UNESCO-IOC 2013, Manuals and Guides 54 vol. 3).
    """
    site = load(site_file)
    if sensor not in site.sensor_by_id:
        raise SiteFileError(f"no sensor {sensor!r} in {site_file}; there are {', '.join(site.sensor_by_id)}")
    try:
        span = moment_ms(start, 0), moment_ms(end, 2**52)
    except ValueError as error:
        raise click.UsageError(f"{error}; write for example 2026-03-01 or 2026-03-01T06:00:00Z") from error
    store = open_store(site)
    try:
        writer = csv.writer(sys.stdout)
        writer.writerow(COLUMNS)
        for quantity in site.sensor_by_id[sensor].quantities:
            frame = judged_readings(site, store, sensor, quantity, *span)
            for row in (frame[~frame["flag"].isin(GOOD_FLAGS)] if doubtful else frame).itertuples():
                values = ("" if pd.isna(v) else repr(float(v)) for v in (row.raw, row.value))
                writer.writerow(
                    (rfc3339(row.Index), sensor, quantity, *values, int(row.flag), row.reason, SCHEME)
                )
    finally:
        store.close()


def judged_readings(
    site: Site, store: Store, sensor: str, quantity: str, start_ms: int, end_ms: int
) -> pd.DataFrame:
    """Readings of a span as the air records take them: columns ``raw``, ``value``, ``flag``, ``reason``."""
    frame = judged_span(store, judging(site), site.sensor_by_id[sensor], quantity, start_ms, end_ms)
    return frame.assign(raw=store.read(sensor, quantity, start_ms, end_ms)["value"])
