"""Readings kept: one protocol, and the stores that follow it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.errors import StoreError
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
        The settings ask for a kind of store that this version does not have.
    StoreDamaged
        Its file is torn, another program's, or of a newer version.
    """
    from monitor.store.embedded import FILE_NAME, EmbeddedStore

    if site.store.kind != "embedded":
        raise StoreError(f'store.kind = {site.store.kind!r} is not built yet; write kind = "embedded"')
    return EmbeddedStore(site.data_folder / FILE_NAME, site.store.rejects_kept)
