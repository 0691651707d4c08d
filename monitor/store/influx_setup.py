"""Setting up the bucket that readings are kept in: made where it is missing, its retention as asked for."""

from __future__ import annotations

from influxdb_client.domain.bucket_retention_rules import BucketRetentionRules

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
        The organisation is not there.
    """
    seconds = 0 if keep_days is None else keep_days * DAY_S
    rules = BucketRetentionRules(type="expire", every_seconds=seconds)
    kept = "for ever" if keep_days is None else f"for {keep_days} days"
    with far.errors():
        buckets = far.client.buckets_api()
        found = buckets.find_bucket_by_name(far.bucket)
        if found is None:
            organisations = far.client.organizations_api().find_organizations(org=far.org)
            if not organisations:
                raise StoreError(f"InfluxDB at {far.url} has no organisation {far.org!r}")
            buckets.create_bucket(bucket_name=far.bucket, org=organisations[0].id, retention_rules=rules)
            return f"bucket {far.bucket}: made; keeps points {kept}"
        if seconds == _seconds(found.retention_rules):
            return f"bucket {far.bucket}: there already; keeps points {kept}"
        found.retention_rules = [rules]
        buckets.update_bucket(bucket=found)
        return f"bucket {far.bucket}: now keeps points {kept}"


def _seconds(rules: list[BucketRetentionRules] | None) -> int:
    return int(rules[0].every_seconds or 0) if rules else 0
