"""Findings into alarms: their life cycle, the journal, and messages to people."""

from __future__ import annotations

from monitor.alarms.alarms import Alarms, open_alarms
from monitor.alarms.document import alarm_history_document, alarms_document, planned_work_document
from monitor.alarms.record import Alarm
from monitor.alarms.statistics import statistics_document

__all__ = [
    "Alarm",
    "Alarms",
    "alarm_history_document",
    "alarms_document",
    "open_alarms",
    "planned_work_document",
    "statistics_document",
]
