"""A dairy's study, made anew when the ledger has grown or an hour has passed, and kept in between."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from monitor.clock import to_ms
from monitor.link.exposure import Exposures, airs_of
from monitor.link.life import Life, lives_of
from monitor.link.study import Study, study
from monitor.site import Site
from monitor.store.protocol import Store
from monitor.wheels import Ledger

KEPT_MS = 3_600_000


@dataclass(frozen=True)
class Studied:
    """Wheels up to a moment, their doses, and what came of them."""

    at_ms: int
    lives: list[Life]
    exposures: Exposures
    link: Study


_kept: dict[Path, tuple[int, Studied]] = {}
_lock = threading.Lock()


def studied(site: Site, store: Store, ledger: Ledger, at: datetime, *, as_it_stands: bool = True) -> Studied:
    """The study of a site at a moment, at most an hour old and of the ledger as it stands.

    ``as_it_stands=False`` takes one from before the ledger's last entries too: a study costs seconds, and a page that is
    drawn after every entry cannot wait for it.
    """
    revision, at_ms, key = ledger.revision(), to_ms(at), site.path.resolve()
    with _lock:
        known = _kept.get(key)
        if known and (known[0] == revision or not as_it_stands) and 0 <= at_ms - known[1].at_ms < KEPT_MS:
            return known[1]
        lives = lives_of(ledger, at)
        exposures = Exposures(site, airs_of(store, lives))
        made = Studied(at_ms, lives, exposures, study(lives, exposures))
        _kept[key] = (revision, made)
        return made
