"""The site file (TOML): `load` reads it into validated, typed settings; `check_file` tells every fault at once."""

from __future__ import annotations

from monitor.site.alarm_settings import AlarmSettings, PlannedWork, QuietHours, Route
from monitor.site.check import Fault, check_file, check_text, load
from monitor.site.rule_settings import Rules
from monitor.site.settings import (
    Broker,
    CalibrationEntry,
    FieldSettings,
    Geometry,
    LedgerSettings,
    Place,
    Room,
    Sensor,
    Settings,
    Site,
    SiteInfo,
    Stage,
    StoreSettings,
    Style,
    is_contact_only,
    rule_settings,
)

__all__ = [
    "AlarmSettings",
    "Broker",
    "CalibrationEntry",
    "Fault",
    "FieldSettings",
    "Geometry",
    "LedgerSettings",
    "Place",
    "PlannedWork",
    "QuietHours",
    "Room",
    "Route",
    "Rules",
    "Sensor",
    "Settings",
    "Site",
    "SiteInfo",
    "Stage",
    "StoreSettings",
    "Style",
    "check_file",
    "check_text",
    "is_contact_only",
    "load",
    "rule_settings",
]
