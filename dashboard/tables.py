"""Any document drawn plainly: sentences as lines, values with their doubt as ranges, lists of like rows as tables."""

from __future__ import annotations

from typing import Any

from dashboard.language import say
from dashboard.parts import cell, section, table
from dashboard.plain import number, text

LEFT_OUT = ("version", "at", "site", "kind")
MOST_ROWS = 200
Document = dict[str, Any]


def shown(document: Document, deep: int = 0) -> str:
    """A document as HTML, in its own order, whatever its keys; what is not known is an en dash."""
    plain = {k: v for k, v in document.items() if k not in LEFT_OUT and not _is_part(v)}
    parts = [_pairs(plain)] if plain else []
    for key, value in document.items():
        if key in LEFT_OUT or not _is_part(value) or not value:
            continue
        title = section(named(key)) if deep == 0 else f"<p><b>{text(named(key))}</b></p>"
        parts.append(title + _part(value, deep + 1))
    return "".join(parts)


def named(key: str) -> str:
    """A key as words: 'too_dry_days' is 'too dry days'."""
    return say(str(key).replace("_", " "))


def is_range(value: Any) -> bool:
    """Whether a value is one with its doubt."""
    return isinstance(value, dict) and {"value", "low", "high"} <= set(value)


def figure(value: Any) -> str:
    """A value as HTML."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return text(say("yes") if value else say("no"))
    if isinstance(value, int | float):
        return number(float(value), 0 if float(value).is_integer() else 2)
    if is_range(value):
        between = say("{low} to {high}", low=number(value["low"], 2), high=number(value["high"], 2))
        return f"<b>{number(value['value'], 2)}</b> ({text(between)})"
    if isinstance(value, list | tuple):
        return ", ".join(figure(v) for v in value[:20])
    return text(value, 600)


def _is_part(value: Any) -> bool:
    return (isinstance(value, dict) and not is_range(value)) or (
        isinstance(value, list) and any(isinstance(v, dict | str) for v in value)
    )


def _part(value: Any, deep: int) -> str:
    if isinstance(value, dict):
        return shown(value, deep) if deep < 4 else ""
    if all(isinstance(row, dict) for row in value):
        return _rows(value)
    return "<ul class='plain'>" + "".join(f"<li>{figure(v)}</li>" for v in value[:MOST_ROWS]) + "</ul>"


def _pairs(values: Document) -> str:
    return (
        '<p class="pairs">'
        + "".join(f"<span>{text(named(k))} <b>{figure(v)}</b></span>" for k, v in values.items())
        + "</p>"
    )


def _rows(rows: list[Document]) -> str:
    keys = list(dict.fromkeys(k for row in rows for k, v in row.items() if not _is_part(v)))
    drawn = "".join(
        "<tr>" + "".join(cell(figure(row.get(k)), named(k), "free") for k in keys) + "</tr>"
        for row in rows[:MOST_ROWS]
    )
    return table([named(k) for k in keys], drawn)
