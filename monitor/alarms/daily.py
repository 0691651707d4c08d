"""The daily message: all is well, or not.  It comes every day, so that its absence means something."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.alarms.record import Alarm
from monitor.alarms.words import CAUTION, MOST_LISTED, Context, Parts, Words, composed, title_of
from monitor.clock import from_ms
from monitor.records import AirRecord
from monitor.rules.words import temperature_text
from monitor.site import Room, Site

FRESH_MS = 2 * 3_600_000


@dataclass(frozen=True)
class Day:
    """What the last 24 hours brought: alarms standing and over, and each room's newest air (None: not known)."""

    standing: Sequence[Alarm]
    ended: Sequence[Alarm]
    air: dict[str, AirRecord | None]


def daily_words(site: Site, day: Day, context: Context) -> Words:
    """The daily message."""
    live = [a for a in day.standing if a.active and not a.quiet]
    blind = [room for room in site.rooms if not _fresh(day.air.get(room.id), context.at_ms)]
    well = not live and not blind
    verdict = "All is well" if well else "Not all is well"
    rooms = [_room(site, room, day.air.get(room.id), context.at_ms) for room in site.rooms]
    counted = f"{len(live)} stand{'s' if len(live) == 1 else ''}" if live else "nothing stands"
    line = f"{verdict}: {counted}"
    line += f", {len(blind)} room{'s' if len(blind) > 1 else ''} without fresh readings. " if blind else ". "
    head = f"{verdict}: {site.site.name}"
    parts = Parts(
        head if well else _title(site, verdict, live, blind),
        head,
        line + "; ".join(rooms),
        _at(site, context.at_ms),
    )
    parts.paragraphs = [f"{verdict}: {counted}."]
    parts.paragraphs += [f"{text}." for text in rooms]
    if live:
        parts.further += [f"stands: {a.finding.what}" for a in live[:MOST_LISTED]]
    if day.ended:
        parts.further += [f"over: {a.finding.what}" for a in day.ended[:MOST_LISTED]]
    quiet = len(day.standing) - len(live)
    if quiet:
        parts.paragraphs.append(f"{quiet} more are back to normal and not acknowledged, or put aside.")
    parts.foot = f"This message comes every day; where it does not, look at the monitor. {CAUTION}"
    return composed(parts, context, asks=False)


def _title(site: Site, verdict: str, live: Sequence[Alarm], blind: Sequence[Room]) -> str:
    """What is wrong, for a lock screen: the most pressing that stands, else the first room that is not seen."""
    more = len(live) + len(blind) - 1
    if not live:
        return title_of(verdict, blind[0].name, "no fresh readings", more)
    finding = live[0].finding
    room = site.room_by_id.get(finding.room)
    return title_of(verdict, room.name if room else site.site.name, finding.short or finding.what, more)


def _fresh(record: AirRecord | None, at_ms: int) -> bool:
    return record is not None and record.temperature_c is not None and at_ms - record.start_ms <= FRESH_MS


def _room(site: Site, room: Room, record: AirRecord | None, at_ms: int) -> str:
    if not _fresh(record, at_ms) or record is None or record.temperature_c is None:
        return f"{room.name} no fresh reading"
    damp = f" {record.rh_pct:.0f} %" if record.rh_pct is not None else ""
    return f"{room.name} {temperature_text(site, record.temperature_c)}{damp}"


def _at(site: Site, at_ms: int) -> str:
    return from_ms(at_ms).astimezone(site.site.zone).strftime(f"{site.site.name}, %A %d %B %H:%M")
