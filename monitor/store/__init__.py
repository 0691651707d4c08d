"""Readings kept: one protocol, and the stores that follow it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.store.protocol import SeriesSummary, Store, Written

if TYPE_CHECKING:
    from monitor.site import Site

__all__ = ["SeriesSummary", "Store", "Written", "open_store"]


def open_store(site: Site) -> Store:
    """The store that a site's settings ask for, opened.

    Raises
    ------
    StoreAway
        It cannot be opened now.
    StoreError
        The environment does not hold what the settings name.
    StoreDamaged
        Its file is torn, another program's, or of a newer version.
    """
    if site.store.kind == "influx":
        from monitor.store.influx import influx_store
        from monitor.store.influx_far import far_of
        from monitor.store.spool import NEAR_FILE_NAME, NearStore

        near = NearStore(site.data_folder / NEAR_FILE_NAME, site.store.rejects_kept)
        return influx_store(near, lambda: far_of(site.store), site.store.taken_in_elsewhere)
    from monitor.store.embedded import FILE_NAME, EmbeddedStore

    return EmbeddedStore(site.data_folder / FILE_NAME, site.store.rejects_kept)
