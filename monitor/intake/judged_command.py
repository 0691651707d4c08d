"""The command that shows what readings are taken for: ``judged``."""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import click
import pandas as pd

from monitor.climate.air_records import judged_span, without_those_apart
from monitor.clock import TEN_MINUTES_MS, from_ms, rfc3339
from monitor.errors import SiteFileError
from monitor.intake.calibration import judging, off_the_others
from monitor.intake.quality import SCHEME
from monitor.records import GOOD_FLAGS, Flag
from monitor.site import Sensor, Site, load
from monitor.store import open_store
from monitor.store.exporting import moment_ms
from monitor.store.gaps import gaps
from monitor.store.protocol import Store

COMPARED = ("temperature", "humidity")
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
    """Readings of a span as the air records take them: columns ``raw``, ``value``, ``flag``, ``reason``.

    Where nothing came for several intervals a row without a value stands for what is missing, with flag 9.
    """
    own = site.sensor_by_id[sensor]
    frame = judged_span(store, judging(site), own, quantity, start_ms, end_ms)
    frame = _beside_the_others(site, store, own, quantity, frame)
    raw = store.read(sensor, quantity, start_ms, end_ms)["value"]
    return _with_gaps(frame.assign(raw=raw), own)


def _beside_the_others(
    site: Site, store: Store, own: Sensor, quantity: str, frame: pd.DataFrame
) -> pd.DataFrame:
    """The frame with what is off the other sensors at the place, by ten-minute means, as suspect."""
    beside = [
        s for s in site.sensors if (s.room, s.place) == (own.room, own.place) and quantity in s.quantities
    ]
    if frame.empty or len(beside) < 3 or quantity not in COMPARED:
        return frame
    times = pd.DatetimeIndex(frame.index).as_unit("ms").asi8
    first, last = (int(time) // TEN_MINUTES_MS * TEN_MINUTES_MS for time in (times[0], times[-1]))
    good = [(s, _good(site, store, s, quantity, first, last + TEN_MINUTES_MS)) for s in beside]
    left = {sensor.id: found[quantity] for sensor, found in without_those_apart(good, off_the_others)}[own.id]
    off = frame.index.isin(left.index[left.isna()])
    return frame.assign(
        flag=frame["flag"].where(~off, int(Flag.SUSPECT)),
        reason=frame["reason"].where(~off, f"{quantity} off the others at its place"),
    )


def _good(
    site: Site, store: Store, sensor: Sensor, quantity: str, start_ms: int, end_ms: int
) -> pd.DataFrame:
    found = judged_span(store, judging(site), sensor, quantity, start_ms, end_ms)
    good = found["flag"].isin(GOOD_FLAGS) & found["value"].notna()
    return found.loc[good, ["value"]].rename(columns={"value": quantity})


def _with_gaps(frame: pd.DataFrame, sensor: Sensor) -> pd.DataFrame:
    times = pd.DatetimeIndex(frame.index).as_unit("ms").asi8
    missing = gaps(times, sensor.interval_s)
    if not missing:
        return frame
    rows = pd.DataFrame(
        {
            "value": float("nan"),
            "raw": float("nan"),
            "flag": int(Flag.MISSING),
            "reason": [f"nothing for {(end - start) / 3_600_000:.1f} h" for start, end in missing],
        },
        index=pd.DatetimeIndex(
            [from_ms(start + round(sensor.interval_s * 1000)) for start, _ in missing], name=frame.index.name
        ).as_unit("ms"),
    )
    return pd.concat([frame, rows]).sort_index(kind="stable")
