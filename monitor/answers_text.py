"""The answer documents as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from monitor.alarms.texts import local, plain

STATE_MARKS = {
    "as-intended": "( )  as intended",
    "needs-you": "<!>  needs you",
    "now": "[!!] now",
    "no-reading": "(?)  no reading",
    "no-wheels": "( )  no wheels",
}


def rooms_text(document: dict[str, Any]) -> str:
    """The ``rooms`` document as text: a few lines a room, then what was refused."""
    site = document["site"]
    lines = [f"{plain(site['name'])}, {local(document['at'], ZoneInfo(site['time_zone']))}"]
    if not document["monitor"]["running"]:
        lines.append(
            "The monitor is not running: nothing below is watched. Start it with: maturing-room run SITE.toml"
        )
    for room in document["rooms"]:
        lines += ["", *_room_lines(room, site)]
    rejects = document["rejects"]
    if rejects["total"]:
        lines += ["", f"{rejects['total']} messages or values could not be used:"]
        lines += [f"  {count} x {plain(reason)}" for reason, count in sorted(rejects["by_reason"].items())]
    return "\n".join([*lines, "", *document["cautions"]])


CREEP_TOLD_PCT = 1.0


def health_text(document: dict[str, Any]) -> str:
    """The ``health`` document as text: the parts, what comes in, what waits, and which sensors are silent."""
    lines = [
        "The monitor is well." if document["well"]
        else "The monitor runs, but not all of it is well." if document["running"]
        else "The monitor is not running. Start it with: maturing-room run SITE.toml"
    ]  # fmt: skip
    for name, state in sorted(document["parts"].items()):
        lines.append(f"  {name:8} {'well' if state['ok'] else 'NOT WELL'}   {plain(state['detail'])}")
    intake, spool = document["intake"], document["spool"]
    if intake:
        rate, lag = intake.get("messages_per_s"), intake["lag_s"]
        lines.append(
            f"  {'--' if rate is None else f'{rate:.1f}'} messages a second, {intake['readings']} readings since the start, "
            f"kept {'--' if lag is None else f'{lag:.2f}'} s after they came"
        )
    if spool:
        lines.append(f"  {spool['waiting']} readings and air records wait to be carried to InfluxDB")
    silent = [s["id"] for s in document["sensors"] if s["silent"]]
    lines.append(
        f"  {len(document['sensors']) - len(silent)} of {len(document['sensors'])} sensors heard from in time"
    )
    lines += [f"    silent: {plain(', '.join(silent))}"] if silent else []
    for trouble in (t for sensor in document["sensors"] for t in sensor["troubles"]):
        lines += [f"    {plain(trouble['what'])}", f"      Check first: {plain(trouble['check_first'])}"]
    crept = max((s["creep_pct"] or 0.0 for s in document["sensors"]), default=0.0)
    if crept >= CREEP_TOLD_PCT:
        lines.append(
            f"  Held above 80 % for long, humidity sensors may read up to {crept:.1f} % high: let one recover as its "
            "maker tells (a bake), or check it over salt (maturing-room calibrate)"
        )
    if total := document["rejects"]["total"]:
        lines.append(f"  {total} messages or values could not be used:")
        lines += [
            f"    {n} x {plain(reason)}" for reason, n in sorted(document["rejects"]["by_reason"].items())
        ]
    return "\n".join(lines)


def _room_lines(room: dict[str, Any], site: dict[str, Any]) -> Iterator[str]:
    yield f"{plain(room['name'])} ({room['kind']})   {STATE_MARKS[room['state']]}"
    yield f"  {plain(room['sentence'])}"
    if room["check_first"]:
        yield f"  Check first: {plain(room['check_first'])}"
    age = "never" if room["reading_age_s"] is None else f"{_span(room['reading_age_s'])} ago"
    late = " LATE" if room["stale"] else ""
    unit = site["display_unit"]
    yield f"  {temperature(room['temperature_c'], unit)}  {number(room['rh_pct'], '%')}   read {age}{late}"
    for contact in room["contacts"]:
        if contact["on"]:
            zone = ZoneInfo(site["time_zone"])
            since = f" since {local(contact['since_at'], zone)}" if contact["since_at"] else ""
            yield f"  {'Door open' if contact['quantity'] == 'door_open' else 'Tank low'}{since}"
    yield f"  {pace('drying', room['drying_pace'])};  {pace('mould', room['mould_pace'])}"


def pace(name: str, value: dict[str, float] | None) -> str:
    """A pace in words and figure: ``drying: 1.4 times intended (1.2 to 1.6)``."""
    if value is None:
        return f"{name}: not known"
    if value["value"] < 0:
        return f"{name}: none, taking up water ({value['low']:.1f} to {value['high']:.1f} times intended)"
    return f"{name}: {value['value']:.1f} times intended ({value['low']:.1f} to {value['high']:.1f})"


def temperature(value_c: float | None, unit: str) -> str:
    """A temperature in the site's display unit."""
    if value_c is not None and unit == "degF":
        value_c = value_c * 1.8 + 32
    return number(value_c, unit.replace("deg", "°"))


def number(value: float | None, unit: str) -> str:
    return f"-- {unit}" if value is None else f"{value:.1f} {unit}"


def review_text(document: dict[str, Any], zone: tzinfo) -> str:
    """The ``review`` document as text: what it has been through, where to look, its entries."""
    wheel, where = document["wheel"], document["where"]
    here = f", {plain(where['room_name'])}, {plain(where['place_name'])}" if where else ""
    lines = [f"{plain(wheel['name'])}: {plain(wheel['style_name'])}, {wheel['age_days']:.0f} days{here}", ""]
    lines += [plain(sentence) for sentence in document["statement"]]
    for title, key in (("Look at", "look_at"), ("Keep the iron from", "keep_the_iron_from")):
        lines += [f"{title}: {plain(spot['where'])} ({plain(spot['why'])})" for spot in document[key]]
    mass = document["weight"]["now"]
    if mass:
        lines.append(
            f"Weighs by its twin {mass['value']:.2f} kg (between {mass['low']:.2f} and {mass['high']:.2f})"
        )
    lines += [f"Expect {plain(e['words'])} ({plain(e['ground'])})" for e in document["expect"]]
    lines += ["", f"Holes so far: {document['holes']}", "", "Ledger:"]
    lines += [
        f"  {local(e['at'], zone)}  {e['kind']:<10}  {plain(e['summary'])}  ({plain(e['author'])})"
        for e in document["ledger"]
    ]
    return "\n".join([*lines, "", *document["cautions"]])


def _span(seconds: float) -> str:
    for size, unit in ((86400, "d"), (3600, "h"), (60, "min")):
        if seconds >= size:
            return f"{seconds / size:.0f} {unit}"
    return f"{seconds:.0f} s"
