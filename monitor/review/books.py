"""The dose book of a store, opened once in a process, so that a second review costs what changed since the first."""

from __future__ import annotations

import threading
from weakref import WeakKeyDictionary

from monitor.climate.dose_book import DoseBook
from monitor.site import Site
from monitor.store.protocol import Store

_books: WeakKeyDictionary[Store, DoseBook] = WeakKeyDictionary()
_lock = threading.Lock()


def dose_book_of(site: Site, store: Store) -> DoseBook:
    """The store's dose book with all that is written by now in it; StoreAway where it cannot be read."""
    with _lock:
        book = _books.get(store)
        if book is None or book.site is not site:
            book = DoseBook(site, store)
            _books[store] = book
    book.catch_up()
    return book
