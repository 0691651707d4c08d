"""Findings into alarms: their life cycle, the journal, and messages to people."""

from __future__ import annotations

from monitor.alarms.alarms import Alarms, open_alarms
from monitor.alarms.document import alarms_document
from monitor.alarms.record import Alarm

__all__ = ["Alarm", "Alarms", "alarms_document", "open_alarms"]
