"""Readers of real sensors: what the hardware says goes out over MQTT as SenML, and waits on disk while it cannot."""

from __future__ import annotations

from monitor.readers.base import Reader, open_reader, reader_faults, reader_kinds

__all__ = ["Reader", "open_reader", "reader_faults", "reader_kinds"]
