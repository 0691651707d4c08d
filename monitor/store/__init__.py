"""Readings kept: one protocol (`monitor.store.protocol`), an embedded store and an InfluxDB store behind it."""
