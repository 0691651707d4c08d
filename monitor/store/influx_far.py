"""Talking to InfluxDB 2 through influxdb-client: lines written in batches, questions asked in Flux."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import urllib3
from influxdb_client.client.flux_csv_parser import FluxCsvParserException, FluxQueryException
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.domain.write_precision import WritePrecision
from influxdb_client.rest import ApiException

from monitor.clock import now_ms
from monitor.errors import StoreAway, StoreError
from monitor.records import AirRecord, Reading, Reject
from monitor.site import StoreSettings
from monitor.store import flux
from monitor.store.line_protocol import WHOLE_ROOM, Carried, air_line, carried_line, reading_line
from monitor.store.side_tables import AIR_COLUMNS

TIMEOUT_MS = 10_000
_MILLISECONDS: Any = WritePrecision.MS
_REFUSED_LINES = (400, 413, 422)
_TOO_OLD = "beyond retention policy"
_REFUSED_US = {
    401: "does not know the token",
    403: "does not let this token do that",
    404: "knows no such bucket or organisation",
}


@dataclass(frozen=True)
class Refusal:
    """What InfluxDB refused: the line's number in its batch (None where all others may be meant), and the reject."""

    number: int | None
    reject: Reject


class InfluxFar:
    """One bucket of an InfluxDB 2, and the points of one site in it.

    Parameters
    ----------
    site
        Told as a tag with every point, so that several sites may share a bucket.
    """

    def __init__(
        self, url: str, org: str, bucket: str, token: str, site: str, timeout_ms: int = TIMEOUT_MS
    ) -> None:
        self.url, self.bucket, self.org, self._site = url, bucket, org, site
        self.client = InfluxDBClient(url=url, token=token, org=org, timeout=timeout_ms, enable_gzip=True)
        self._writer = self.client.write_api(write_options=SYNCHRONOUS)
        self._reader = self.client.query_api()

    def write(self, readings: Sequence[Reading], air: Sequence[AirRecord]) -> list[Refusal]:
        """Write all, readings first; those few that InfluxDB refuses for what they hold come back with its reason.

        Raises
        ------
        StoreAway
            It does not answer, or refuses us; nothing is known to be written.
        """
        lines = [reading_line(self._site, r) for r in readings] + [air_line(self._site, r) for r in air]
        return list(self._write(lines, 0))

    def tell_carried(self, told: Sequence[Carried]) -> None:
        """Tell other machines what has been carried over; see `write` for what it raises."""
        list(self._write([carried_line(self._site, one) for one in told], 0))

    def carried(self, start_ms: int, end_ms: int) -> list[Carried]:
        """What was told in a span, in order of time."""
        found = self._rows(flux.carried(self.bucket, self._site, start_ms, end_ms))
        times = _index(found, "at").asi8
        return [
            Carried(row["by"], row["sensor"], row["quantity"], int(row["first"]), int(row["last"]), int(at))
            for row, at in zip(found.to_dict(orient="records"), times, strict=True)
        ]

    def _write(self, lines: list[str], first: int) -> Iterator[Refusal]:
        try:
            with self.errors():
                self._writer.write(self.bucket, self.org, "\n".join(lines), write_precision=_MILLISECONDS)
        except _Refused as error:
            too_old = _TOO_OLD in str(error)  # what is young enough has been written: no use to look for it
            if too_old or len(lines) == 1:
                reason = f"InfluxDB refuses {'lines' if too_old else 'a line'}: {error}"
                reject = Reject(now_ms(), "influx/write", reason[:200], lines[0].encode()[:1024])
                yield Refusal(None if too_old else first, reject)
                return
            half = len(lines) // 2
            yield from self._write(lines[:half], first)
            yield from self._write(lines[half:], first + half)

    def readings(self, sensor: str, quantity: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        """Readings of a series in a span, as `Store.read` gives them."""
        found = self._rows(flux.readings(self.bucket, self._site, sensor, quantity, start_ms, end_ms))
        index = _index(found, "time")
        reasons = (
            found["reason"].fillna("").astype(str) if "reason" in found else pd.Series("", index=found.index)
        )
        columns = {
            "value": _numbers(found, "value"),
            "flag": np.nan_to_num(_numbers(found, "flag"), nan=2).astype("u1"),
            "reason": pd.Categorical(reasons, categories=list(dict.fromkeys(["", *reasons]))),
        }
        return pd.DataFrame(columns, index=index)

    def times(self, sensor: str, start_ms: int, end_ms: int) -> np.ndarray[Any, Any]:
        """Times [ms] at which a sensor has readings of temperature or humidity."""
        frames = [
            self.readings(sensor, quantity, start_ms, end_ms) for quantity in ("temperature", "humidity")
        ]
        return np.unique(np.concatenate([pd.DatetimeIndex(f.index).as_unit("ms").asi8 for f in frames]))

    def air(self, room: str, place: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        """Air records of a place in a span, as `Store.read_air` gives them."""
        found = self._rows(flux.air(self.bucket, self._site, room, place, start_ms, end_ms))
        columns = {name: _numbers(found, name) for name in AIR_COLUMNS}
        missing = found["missing"].fillna("").astype(str) if "missing" in found else pd.Series(dtype=str)
        for name in AIR_COLUMNS:
            taken_back = (
                missing.str.split().apply(lambda names, name=name: name in names).to_numpy(dtype=bool)
            )
            if len(taken_back):
                columns[name] = np.where(taken_back, np.nan, columns[name])
        return pd.DataFrame(columns, index=_index(found, "start"))

    def latest_air(self) -> list[AirRecord]:
        """The newest air record of every room and place."""
        records = []
        for (room, place), start in self._outermost_air("last", flux.LATEST_MS).items():
            for values in self.air(room, place, start, start + 1).to_dict(orient="records"):
                known: dict[str, Any] = {str(k): None if np.isnan(v) else v for k, v in values.items()}
                records.append(AirRecord(room, place, start, **known))
        return records

    def air_extents(self, before_ms: int) -> dict[tuple[str, str], tuple[int, int]]:
        """Starts [ms] of the first and last air record of every room and place before a moment."""
        first, last = (self._outermost_air(which, before_ms) for which in ("first", "last"))
        return {place: (first[place], last[place]) for place in first if place in last}

    def _outermost_air(self, which: str, before_ms: int) -> dict[tuple[str, str], int]:
        question = flux.outermost_air(self.bucket, self._site, flux.EARLIEST_MS, before_ms, which)
        found = self._rows(question)
        starts = _index(found, "start").asi8
        places = [] if found.empty else list(zip(found["room"], found["place"], strict=True))
        return {
            (str(room), "" if place == WHOLE_ROOM else str(place)): int(start)
            for (room, place), start in zip(places, starts, strict=True)
        }

    def holds_before(self, moment_ms: int) -> bool:
        """Whether there is any reading of this site before a moment."""
        return len(self._rows(flux.oldest(self.bucket, self._site, flux.EARLIEST_MS, moment_ms))) > 0

    def _rows(self, question: str | None) -> pd.DataFrame:
        found: Any = []
        if question is not None:
            with self.errors():
                found = self._reader.query_data_frame(question)
        frames = [f for f in (found if isinstance(found, list) else [found]) if len(f)]
        if not frames:
            return pd.DataFrame({"_time": pd.Series(dtype="datetime64[ns, UTC]")})
        frame = pd.concat(frames, ignore_index=True) if len(frames) > 1 else frames[0]
        return frame.sort_values("_time", kind="stable").reset_index(drop=True)

    @contextmanager
    def errors(self) -> Iterator[None]:
        """Errors of the client become the store's own."""
        try:
            yield
        except ApiException as error:
            if error.status in _REFUSED_LINES:
                raise _Refused(_told(error)) from error
            why = _REFUSED_US.get(error.status or 0, f"answers {error.status}: {_told(error)}")
            raise StoreAway(f"InfluxDB at {self.url} {why}") from error
        except (FluxQueryException, FluxCsvParserException) as error:
            told = getattr(error, "message", error)
            raise StoreAway(f"InfluxDB at {self.url} fails amid its answer: {told}") from error
        except (IndexError, KeyError, ValueError) as error:  # the client's parser, given no annotated CSV
            raise StoreAway(f"what answers at {self.url} is not InfluxDB: {error}") from error
        except (urllib3.exceptions.HTTPError, OSError) as error:
            raise StoreAway(f"InfluxDB at {self.url} does not answer ({type(error).__name__})") from error

    def close(self) -> None:
        """Let go of the connections."""
        self._writer.close()
        self.client.close()


class _Refused(StoreError):
    """InfluxDB refuses what it was given."""


def _told(error: ApiException) -> str:
    body = str(error.body or error.reason or "no reason")
    return " ".join(body.split())[:150]


def _index(found: pd.DataFrame, name: str) -> pd.DatetimeIndex:
    return pd.DatetimeIndex(pd.to_datetime(found["_time"], utc=True)).as_unit("ms").rename(name)


def _numbers(found: pd.DataFrame, name: str) -> np.ndarray[Any, Any]:
    if name not in found:
        return np.full(len(found), np.nan)
    return found[name].to_numpy(dtype=float, na_value=np.nan)


def far_of(settings: StoreSettings) -> InfluxFar:
    """The InfluxDB that a site file and the environment name.

    Raises
    ------
    StoreError
        A variable that the site file names is not set.
    """
    names = (
        settings.influx_url_env,
        settings.influx_org_env,
        settings.influx_bucket_env,
        settings.influx_token_env,
    )
    if unset := [name for name in names if not os.environ.get(name)]:
        raise StoreError(
            f'store.kind = "influx" needs the environment variable{"s" if len(unset) > 1 else ""} '
            f"{', '.join(unset)}; set {'them' if len(unset) > 1 else 'it'} and start again"
        )
    url, org, bucket, token = (os.environ[name] for name in names)
    return InfluxFar(url, org, bucket, token, settings.influx_site_tag)
