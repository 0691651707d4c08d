"""Upkeep of the embedded store while it runs: sealing old days, and retention where the site file asks for it."""

from __future__ import annotations

from monitor.clock import DAY_MS, now_ms
from monitor.site import StoreSettings
from monitor.store.embedded import EmbeddedStore
from monitor.store.influx import InfluxStore
from monitor.store.protocol import Store

DAYS_AT_ONCE = 50
"""How many days one call seals: the writer's lock is held for some tens of milliseconds."""


def upkeep(settings: StoreSettings, store: Store, at_ms: int | None = None) -> int:
    """Do a bounded piece of upkeep; how many days were sealed (0 once nothing is left to do).

    Raw readings are kept for ever unless ``keep_days`` names their quantity.
    """
    moment = now_ms() if at_ms is None else at_ms
    if isinstance(store, InfluxStore):
        edge = moment - settings.near_days * DAY_MS
        nobody_judges = settings.taken_in_elsewhere and not store.near.gathers()
        return store.near.prune(edge - edge % DAY_MS, marks_too=nobody_judges)
    if not isinstance(store, EmbeddedStore):
        return 0
    for quantity, days in settings.keep_days.items():
        store.forget(quantity, moment - days * DAY_MS)
    return store.seal(moment - settings.seal_after_days * DAY_MS, DAYS_AT_ONCE)
