"""Documents about alarms as text for a terminal."""

from __future__ import annotations

from typing import Any


def planned_work_text(document: dict[str, Any]) -> str:
    """The ``planned-work`` document as text."""
    lines = [_work_line(work) for work in document["work"]]
    return "\n".join(lines) if lines else "No work is planned."


def _work_line(work: dict[str, Any]) -> str:
    number = "file" if work["id"] is None else str(work["id"])
    state = "under way" if work["under_way"] else "to come"
    return (
        f"  {number:>4}  {work['kind']:<11}  {plain(work['room_name'])}  {work['from_at']} to {work['until_at']}  "
        f"{state}  ({plain(work['person'])}) {plain(work['note'])}"
    ).rstrip()


def statistics_text(document: dict[str, Any]) -> str:
    """The ``alarm-statistics`` document as text, with figures of others beside ours."""
    beside: dict[str, list[str]] = {}
    for reference in document["references"]:
        beside.setdefault(reference["name"], []).append(f"{reference['at_most']} ({reference['source']})")
    names = (
        "raised", "raised_per_day", "standing", "stale", "chattering", "most_in_ten_minutes", "floods",
        "share_of_time_in_flood_pct", "share_of_top_ten_pct", "never_acknowledged", "minutes_to_acknowledge", "priorities_pct",
        "messages", "raised_by_room", "raised_by_rule",
    )  # fmt: skip
    lines = [f"The last {document['days']:g} days, to {document['at']}"]
    for name in names:
        value = document[name]
        lines.append(f"  {name.replace('_', ' '):<28} {_value(value)}")
        lines += [f"  {'':<28} others: {text}" for text in beside.get(name, ())]
    return "\n".join(lines)


def _value(value: Any) -> str:
    if value is None:
        return "--"
    if isinstance(value, dict):
        return (
            ", ".join(f"{plain(name) or 'the site'} {number:g}" for name, number in value.items()) or "none"
        )
    return f"{value:g}"


def try_text(document: dict[str, Any]) -> str:
    """The ``try-alarms`` document as text: what would have alarmed, side by side."""
    both = document["changed"] is not None
    lines = [f"{'raised':<21}{'as it is':<12}{'as changed' if both else '':<{12 if both else 0}}what"]
    for row in document["rows"]:
        one = row["as_is"] or row["changed"]
        cells = [row["as_is"], row["changed"]] if both else [row["as_is"]]
        lasted = "".join(f"{_lasted(cell):<12}" for cell in cells)
        lines.append(f"{one['raised_at']:<21}{lasted}{plain(one['room_name'])}: {plain(one['what'])}")
    counts = [document["as_is"], *([document["changed"]] if both else [])]
    raised = " and ".join(f"{c['raised']} raised, {sum(c['messages'].values())} messages" for c in counts)
    return "\n".join([*lines, "", f"In {document['as_is']['days']:.1f} days: {raised}."])


def _lasted(cell: dict[str, Any] | None) -> str:
    if cell is None:
        return "--"
    minutes = cell["lasted_min"]
    return f"{minutes / 60:.1f} h" if minutes >= 90 else f"{minutes:.0f} min"


def plain(text: object) -> str:
    """Text from outside made harmless for a terminal: no control characters, at most 300 characters."""
    shown = "".join(c if c.isprintable() else " " for c in str(text))
    return shown if len(shown) <= 300 else shown[:299] + "…"
