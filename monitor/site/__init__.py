"""The site file (TOML): `load` reads it into validated, typed settings; `check_file` tells every fault at once."""

from __future__ import annotations

from monitor.site.alarm_settings import AlarmSettings, PlannedWork, QuietHours, Route
from monitor.site.check import Fault, check_file, check_text, load
from monitor.site.settings import (
    BandRule,
    Broker,
    CalibrationEntry,
    FieldSettings,
    Geometry,
    LedgerSettings,
    MouldRule,
    PaceRule,
    Place,
    Room,
    Rules,
    Sensor,
    Settings,
    SilenceRule,
    Site,
    SiteInfo,
    Stage,
    StoreSettings,
    Style,
    rule_settings,
)

__all__ = [
    "AlarmSettings",
    "BandRule",
    "Broker",
    "CalibrationEntry",
    "Fault",
    "FieldSettings",
    "Geometry",
    "LedgerSettings",
    "MouldRule",
    "PaceRule",
    "Place",
    "PlannedWork",
    "QuietHours",
    "Room",
    "Route",
    "Rules",
    "Sensor",
    "Settings",
    "SilenceRule",
    "Site",
    "SiteInfo",
    "Stage",
    "StoreSettings",
    "Style",
    "check_file",
    "check_text",
    "load",
    "rule_settings",
]
