"""Setting up the bucket that readings are kept in: made where it is missing, its retention as asked for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from influxdb_client.domain.bucket_retention_rules import BucketRetentionRules
from influxdb_client.rest import ApiException

from monitor.errors import StoreError
from monitor.store.influx_far import InfluxFar

DAY_S = 86_400


def prepare(far: InfluxFar, keep_days: int | None) -> str:
    """Make the bucket, or set how long an existing one keeps points; what was done, in words.

    Parameters
    ----------
    keep_days : how long points are kept [d]; None keeps them for ever

    Raises
    ------
    StoreAway
        InfluxDB does not answer, or refuses the token.
    StoreError
        The organisation is not there, or InfluxDB refuses what is asked (such as too short a retention).
    """
    seconds = 0 if keep_days is None else keep_days * DAY_S
    rules = BucketRetentionRules(type="expire", every_seconds=seconds)
    kept = "for ever" if keep_days is None else f"for {keep_days} days"
    buckets = far.client.buckets_api()
    with far.errors():
        found = _there(lambda: buckets.find_buckets(name=far.bucket, org=far.org).buckets)
        if not found:
            organisations = _there(lambda: far.client.organizations_api().find_organizations(org=far.org))
            if not organisations:
                raise StoreError(
                    f"InfluxDB at {far.url} has no organisation {far.org!r}, or hides it from this token"
                )
            buckets.create_bucket(bucket_name=far.bucket, org=organisations[0].id, retention_rules=rules)
            return f"bucket {far.bucket}: made; keeps points {kept}"
        if seconds == _seconds(found[0].retention_rules):
            return f"bucket {far.bucket}: there already; keeps points {kept}"
        found[0].retention_rules = [rules]
        buckets.update_bucket(bucket=found[0])
        return f"bucket {far.bucket}: now keeps points {kept}"


def _there(find: Callable[[], list[Any] | None]) -> list[Any]:
    """What a search finds; servers answer a name that they do not know with an empty list or with 404."""
    try:
        return find() or []
    except ApiException as error:
        if error.status == 404:
            return []
        raise


def _seconds(rules: list[BucketRetentionRules] | None) -> int:
    return int(rules[0].every_seconds or 0) if rules else 0
