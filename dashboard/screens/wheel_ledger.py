"""The ledger of a wheel: every entry, its author and its photos."""

from __future__ import annotations

import base64
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard.language import say
from dashboard.parts import cell, section, table
from dashboard.plain import text, when
from dashboard.source import Source
from monitor.errors import MonitorError

MOST_ENTRIES = 200
MOST_PHOTOS = 12


def show(source: Source, document: dict[str, Any], zone: ZoneInfo, at: datetime) -> None:
    """Draw the ledger, the newest entry first, and the newest photos."""
    entries = sorted(document["ledger"], key=lambda e: (e["at"], e["id"]), reverse=True)
    heads = [say("when"), say("what"), say("by"), say("says")]
    rows = "".join(_entry(entry, heads, zone, at) for entry in entries[:MOST_ENTRIES])
    more = ""
    if len(entries) > MOST_ENTRIES:
        older = say("And {count} older entries.", count=len(entries) - MOST_ENTRIES)
        more = f'<p class="quiet">{text(older)}</p>'
    st.html(section(say("Ledger")) + table(heads, rows) + more + _sheet_link(document["wheel"]["name"]))
    _photos(source, entries, zone, at)


def _entry(entry: dict[str, Any], heads: list[str], zone: ZoneInfo, at: datetime) -> str:
    gone = entry.get("corrected_by")
    says = text(entry["summary"], 1500)
    note = (entry.get("details") or {}).get("note", "")
    if note and note not in entry["summary"]:
        says += f" · {text(note, 1500)}"
    if gone:
        says = f"<s>{says}</s> ({text(say('corrected or taken back by entry {number}', number=gone))})"
    return (
        "<tr>"
        + cell(when(entry["at"], zone, at), sort="n")
        + cell(f"<b>{text(say(entry['kind']), 40)}</b>", heads[1], "n")
        + cell(text(entry["author"], 80), heads[2], "free")
        + cell(says, heads[3], "free")
        + "</tr>"
    )


def _sheet_link(wheel: str) -> str:
    """How to print; the page itself prints whole, without its forms."""
    words = say("To print this review, print the page: forms and bars are left out.")
    return f'<p class="quiet no-print">{text(words)}</p>'


def _photos(source: Source, entries: list[dict[str, Any]], zone: ZoneInfo, at: datetime) -> None:
    named = [
        (name, entry)
        for entry in entries
        if not entry.get("corrected_by")
        for name in (entry.get("details") or {}).get("photos") or ()
    ][:MOST_PHOTOS]
    drawn = []
    for name, entry in named:
        try:
            data = base64.b64encode(source.photo(name)).decode()
        except (MonitorError, OSError):
            continue
        words = f"{say(entry['kind'])}, {when(entry['at'], zone, at)}, {entry['author']}"
        drawn.append(
            f'<figure><img src="data:image/jpeg;base64,{data}" alt="{text(words)}"><figcaption>{text(words)}</figcaption></figure>'
        )
    if drawn:
        st.html(f'{section(say("Photos"))}<div class="photos">{"".join(drawn)}</div>')
