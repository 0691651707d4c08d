"""Documents about alarms as text for a terminal, in the site's own time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, tzinfo
from typing import Any

MARGIN = " " * 8
Figure = Callable[[Any], str]


def alarms_text(document: dict[str, Any], zone: tzinfo) -> str:
    """The ``alarms`` document as text: those that stand first, with what they do to the wheels and what to check."""
    standing, recent = document["standing"], document["recent"]
    lines = [f"{len(standing)} standing" if standing else "Nothing stands."]
    for alarm in standing:
        lines += ["", *_standing_lines(alarm, zone)]
    if recent:
        lines += ["", "Lately over:"]
    for alarm in recent:
        begun, ended = (local(alarm[key], zone) for key in ("since_at", "ended_at"))
        lines += [f"  {alarm['id']:>4}  {begun} to {ended}  {_what(alarm)}"]
    return "\n".join(lines)


def _standing_lines(alarm: dict[str, Any], zone: tzinfo) -> Iterator[str]:
    yield (
        f"  {alarm['id']:>4}  {alarm['priority']}, since {local(alarm['since_at'], zone)}, {_state(alarm, zone)}"
    )
    yield f"{MARGIN}{_what(alarm)}"
    if alarm["effect"]:
        yield f"{MARGIN}{plain(alarm['effect'])}"
    if alarm["check_first"]:
        yield f"{MARGIN}Check first: {plain(alarm['check_first'])}"
    if alarm["note"]:
        yield f"{MARGIN}Note: {plain(alarm['note'])}"


def _what(alarm: dict[str, Any]) -> str:
    room = alarm["room_name"] or alarm["room"]
    return f"{plain(room)}: {plain(alarm['what'])}" if room else plain(alarm["what"])


def _state(alarm: dict[str, Any], zone: tzinfo) -> str:
    until = f" until {local(alarm['until_at'], zone)}" if alarm["until_at"] else ""
    name = plain(alarm["acknowledged_by"] or "")
    if alarm["state"] == "acknowledged" and not alarm["acknowledged_at"]:
        return f"answered by {name} with another alarm"
    words = {
        "unacknowledged": "not acknowledged",
        "acknowledged": f"acknowledged by {name}, {local(alarm['acknowledged_at'], zone)}",
        "returned-unacknowledged": f"back to normal {local(alarm['returned_at'], zone)}, not acknowledged",
        "latched": "latched: over, held until it is reset",
        "shelved": f"shelved{until}",
        "suppressed-by-design": f"suppressed by design: planned work{until}",
        "out-of-service": "out of service",
    }
    return words.get(alarm["state"], str(alarm["state"]))


def planned_work_text(document: dict[str, Any], zone: tzinfo) -> str:
    """The ``planned-work`` document as text."""
    lines = [_work_line(work, zone) for work in document["work"]]
    return "\n".join(lines) if lines else "No work is planned."


def _work_line(work: dict[str, Any], zone: tzinfo) -> str:
    number = "file" if work["id"] is None else str(work["id"])
    state = "under way" if work["under_way"] else "to come"
    span = f"{local(work['from_at'], zone)} to {local(work['until_at'], zone)}"
    return (
        f"  {number:>4}  {work['kind']:<11}  {plain(work['room_name'])}  {span}  "
        f"{state}  ({plain(work['person'])}) {plain(work['note'])}"
    ).rstrip()


def statistics_text(document: dict[str, Any], zone: tzinfo) -> str:
    """The ``alarm-statistics`` document as text, with figures of others beside ours."""
    beside: dict[str, list[str]] = {}
    for reference in document["references"]:
        most = reference["at_most"]
        text = "{} low, {} medium, {} high".format(*most) if isinstance(most, list) else f"at most {most}"
        beside.setdefault(reference["name"], []).append(f"{text} ({reference['source']})")
    lines = [f"The last {document['days']:g} days, to {local(document['at'], zone)}"]
    for name, (label, figure) in FIGURES.items():
        value = document[name]
        lines.append(f"  {label:<36} {'not known yet' if value is None else figure(value)}")
        lines += [f"  {'':<36}   others: {text}" for text in beside.get(name, ())]
    return "\n".join(lines)


def _counts(value: dict[str, float]) -> str:
    return ", ".join(f"{plain(name) or 'the site'} {number:g}" for name, number in value.items()) or "none"


def _messages(value: dict[str, float]) -> str:
    return _counts(value) if value else "none, the site file names no route"


def _answered(value: dict[str, float]) -> str:
    return f"half within {value['median']:g}, nine in ten within {value['nine_in_ten']:g}, of {value['count']} acknowledged"


FIGURES: dict[str, tuple[str, Figure]] = {
    "raised": ("raised", "{:g}".format),
    "raised_per_day": ("raised a day", "{:.2g}".format),
    "standing": ("standing now", "{:g}".format),
    "stale": ("of these for over a day", "{:g}".format),
    "chattering": ("raised three times in a minute", "{:g}".format),
    "most_in_ten_minutes": ("most raised in ten minutes", "{:g}".format),
    "floods": ("floods, over 10 in ten minutes", "{:g}".format),
    "share_of_time_in_flood_pct": ("time in flood [%]", "{:.2g}".format),
    "share_of_top_ten_pct": ("raised by the ten most frequent [%]", "{:g}".format),
    "never_acknowledged": ("never acknowledged", "{:g}".format),
    "minutes_to_acknowledge": ("time to acknowledge [min]", _answered),
    "priorities_pct": ("by priority [%]", _counts),
    "messages": ("messages by route", _messages),
    "raised_by_room": ("raised by room", _counts),
    "raised_by_rule": ("raised by rule", _counts),
}
"""Labels and forms of the figures, in the order in which they are shown."""


def try_text(document: dict[str, Any], zone: tzinfo) -> str:
    """The ``try-alarms`` document as text: what would have alarmed, side by side."""
    both = document["changed"] is not None
    lines = [f"{'raised':<18}{'as it is':<12}{'as changed' if both else '':<{12 if both else 0}}what"]
    for row in document["rows"]:
        one = row["as_is"] or row["changed"]
        cells = [row["as_is"], row["changed"]] if both else [row["as_is"]]
        lasted = "".join(f"{_lasted(cell):<12}" for cell in cells)
        lines.append(f"{_moment(one['raised_at'], zone):<18}{lasted}{_what(one)}")
    if not document["rows"]:
        lines = ["Nothing would have alarmed."]
    sides = ["as_is", *(["changed"] if both else [])]
    sums = [f"{_raised(document, side)}, {_sent(document[side]['messages'])}" for side in sides]
    told = f"as it is {sums[0]}; as changed {sums[1]}" if both else sums[0]
    return "\n".join(
        [
            *lines,
            "",
            f"In {document['as_is']['days']:.1f} days, in whole slots of ten minutes: {told}. Times are those of {zone}.",
        ]
    )


def _raised(document: dict[str, Any], side: str) -> str:
    return f"{sum(row[side] is not None for row in document['rows'])} raised"


def _sent(messages: dict[str, int]) -> str:
    if not messages:
        return "no messages, as the site file names no route"
    count = sum(messages.values())
    return f"{count} message{'' if count == 1 else 's'}"


def _lasted(cell: dict[str, Any] | None) -> str:
    if cell is None:
        return "--"
    minutes = cell["lasted_min"]
    return f"{minutes / 60:.1f} h" if minutes >= 90 else f"{minutes:.0f} min"


def local(at: str | None, zone: tzinfo) -> str:
    """A moment (RFC 3339) as people say it, in the site's own time: ``Thu 26 Nov 02:55``; with its year if not this one's."""
    if at is None:
        return "--"
    moment = datetime.fromisoformat(at).astimezone(zone)
    this_year = moment.year == datetime.now(zone).year
    return moment.strftime("%a %d %b %H:%M" if this_year else "%a %d %b %Y %H:%M")


def _moment(at: str, zone: tzinfo) -> str:
    return f"{datetime.fromisoformat(at).astimezone(zone):%Y-%m-%d %H:%M}"


def plain(text: object) -> str:
    """Text from outside made harmless for a terminal: no control characters, at most 300 characters."""
    shown = "".join(c if c.isprintable() else " " for c in str(text))
    return shown if len(shown) <= 300 else shown[:299] + "…"
