"""How findings say things: wheels, places and temperatures in a person's words and unit."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.site import Room, Site

STAY_OUT = "STAY OUT of "
"""Begins in short what is wrong where gas is over a limit for people; it is no longer said of what is over."""


def wheels_text(count: int, what: str = "") -> str:
    """``41 cloth-bound wheels``, ``1 wheel``."""
    return f"{count} {what + ' ' if what else ''}wheel{'' if count == 1 else 's'}"


def rind_of(site: Site, styles: Sequence[str]) -> str:
    """The kind of rind shared by styles, or nothing where they differ."""
    kinds = {site.style_by_id[s].rind for s in styles if s in site.style_by_id}
    return kinds.pop() if len(kinds) == 1 else ""


def place_name(room: Room, place: str) -> str:
    """A place as people call it; the room's name for the whole room."""
    if not place:
        return room.name
    return next((p.name or p.id for p in room.places if p.id == place), place)


def temperature_text(site: Site, celsius: float, digits: int = 1) -> str:
    """A temperature in the site's display unit."""
    if site.site.display_unit == "degF":
        return f"{celsius * 1.8 + 32:.{digits}f} °F"
    return f"{celsius:.{digits}f} °C"


def difference_text(site: Site, kelvin: float, digits: int = 1) -> str:
    """A temperature difference in the site's display unit."""
    return f"{kelvin * 1.8:.{digits}f} °F" if site.site.display_unit == "degF" else f"{kelvin:.{digits}f} K"


def band_text(site: Site, band: tuple[float, float], is_temperature: bool) -> str:
    """A band, ``82-88 %`` or ``10.0-12.0 °C``."""
    if not is_temperature:
        return f"{band[0]:g}-{band[1]:g} %"
    low, high = temperature_text(site, band[0]), temperature_text(site, band[1])
    return f"{low.split(' ')[0]}-{high}"


def listed(names: Sequence[str], most: int = 3) -> str:
    """``A, B and C``; beyond ``most`` names, ``A, B, C and 4 more``."""
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def span_text(milliseconds: float) -> str:
    """A span of time in one or two units: ``40 min``, ``3 h 20 min``, ``2 d 4 h``."""
    minutes = round(milliseconds / 60_000)
    if minutes < 1:
        return f"{max(0, round(milliseconds / 1000))} s"
    if minutes < 60:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours < 24:
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    days, hours = divmod(hours, 24)
    return f"{days} d {hours} h" if hours else f"{days} d"
