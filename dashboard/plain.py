"""Text made harmless and numbers made readable: the only way data gets onto a page."""

from __future__ import annotations

import html
import re
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.language import decimal_point, say, say_count, written
from monitor.clock import parse_rfc3339

_UNSEEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufeff]")
_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+\-.!|~<>$^=&/\"'@])")
LONGEST = 400


def text(value: Any, longest: int = LONGEST) -> str:
    """A value as text fit for HTML: escaped, without control characters, cut where it is endless."""
    cleaned = _UNSEEN.sub("", str(value))
    if len(cleaned) > longest:
        cleaned = cleaned[: longest - 1] + "…"
    return html.escape(cleaned, quote=True)


def label(value: Any, longest: int = 80) -> str:
    """A value as text fit for a widget's label, where Markdown, icons and formulas would be read.

    A word joiner after each colon keeps emoji and icon short-codes from being recognised.
    """
    cleaned = " ".join(_UNSEEN.sub("", str(value)).split())
    if len(cleaned) > longest:
        cleaned = cleaned[: longest - 1] + "…"
    return _MARKDOWN.sub(r"\\\1", cleaned).replace(":", "\\:\u2060")


def number(value: float | None, digits: int = 1) -> str:
    """A number with so many decimals as the language writes it; an en dash where it is not known."""
    if value is None:
        return "–"
    rounded = f"{value:.{digits}f}"
    if float(rounded) == 0:
        rounded = rounded.lstrip("-")
    return rounded.replace("-", "−").replace(".", decimal_point())


def shown_temperature(value_c: float | None, unit: str) -> float | None:
    """A temperature [degC] in the unit the site shows (degC or degF)."""
    if value_c is None:
        return None
    return value_c * 1.8 + 32 if unit == "degF" else value_c


def unit_sign(unit: str) -> str:
    """The sign of the temperature unit the site shows."""
    return "°F" if unit == "degF" else "°C"


def temperature(value_c: float | None, unit: str, digits: int = 1) -> str:
    """A temperature [degC] as digits in the unit the site shows."""
    return number(shown_temperature(value_c, unit), digits)


def span(low_c: float, high_c: float, unit: str) -> str:
    """A band of temperature [degC] in the unit the site shows: '10 to 12 °C'."""
    low, high = temperature(low_c, unit, 0), temperature(high_c, unit, 0)
    return say("{low} to {high}", low=low, high=high) + f" {unit_sign(unit)}"


def age(seconds: float | None) -> str:
    """How long ago, in the coarsest unit that still tells something."""
    if seconds is None:
        return say("never")
    seconds = max(0.0, seconds)
    if seconds < 90:
        return say("{count} s ago", count=f"{seconds:.0f}")
    if seconds < 90 * 60:
        return say("{count} min ago", count=f"{seconds / 60:.0f}")
    if seconds < 36 * 3600:
        return say("{count} h ago", count=f"{seconds / 3600:.0f}")
    return say("{count} days ago", count=f"{seconds / 86400:.0f}")


def wheels(count: int) -> str:
    """A count of wheels: 'no wheels', '1 wheel', '41 wheels'."""
    return say("no wheels") if count == 0 else say_count("{count} wheel", "{count} wheels", count)


def moment(at: str | datetime | None) -> datetime | None:
    """A document's time as an aware datetime; None where there is none or it cannot be read."""
    if at is None or isinstance(at, datetime):
        return at
    try:
        return parse_rfc3339(at)
    except ValueError:
        return None


def when(at: str | datetime | None, zone: ZoneInfo, now: datetime) -> str:
    """A time in the site's zone, no longer than it must be: '01:40', 'yesterday 22:40', '3 Nov 22:40'."""
    known = moment(at)
    if known is None:
        return "–"
    local, today = known.astimezone(zone), now.astimezone(zone)
    clock = f"{local:%H:%M}"
    if local.date() == today.date():
        return clock
    if local.date() == today.date() - timedelta(days=1):
        return say("yesterday {clock}", clock=clock)
    return f"{day(local, zone, now)} {clock}"


def day(at: str | datetime | None, zone: ZoneInfo, now: datetime) -> str:
    """A date in the site's zone: '3 Nov', with its year where that is not this one."""
    known = moment(at)
    if known is None:
        return "–"
    local = known.astimezone(zone)
    return written(local, "MMMd" if local.year == now.astimezone(zone).year else "yMMMd")
