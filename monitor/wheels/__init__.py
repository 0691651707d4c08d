"""The ledger of makes and wheels: what was done to them, what was seen on them, where they have been."""

from __future__ import annotations

from monitor.wheels.entries import Entry
from monitor.wheels.ledger import Ledger, open_ledger
from monitor.wheels.lines import Wheel

__all__ = ["Entry", "Ledger", "Wheel", "open_ledger"]
