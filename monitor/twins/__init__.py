"""The running twins: the rind twin of every wheel in the ledger, carried on with the air of where it lies."""

from __future__ import annotations

from monitor.twins.keeper import RunningTwins
from monitor.twins.kept import KeptRind, kept_rind

__all__ = ["KeptRind", "RunningTwins", "kept_rind"]
