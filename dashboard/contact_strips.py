"""Thin strips under a room's charts: when a contact said that a door stood open or a tank was low."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.course import Frame, Mark
from dashboard.language import say, say_count
from dashboard.plain import moment, number, text, when

LEAST_WIDTH = 0.3
"""How wide a span is drawn at least, in percent of the strip: three minutes of a day are still seen."""
LEAST_SHARE = 0.2
"""A mark of several spans is as tall as the share of its time in which they lasted, and so tall at least."""
STROKES = {"door_open": "door", "water_low": "tank"}
"""How the spans of each quantity are drawn: those of a door full, those of a tank hatched."""


def strips(contacts: Sequence[dict[str, Any]], start: datetime, end: datetime, zone: ZoneInfo) -> str:
    """A strip for each contact (`monitor.climate.contact_spans`) with its words above; nothing where there is none.

    ``end`` is now.
    """
    several = _several(contacts)
    return "".join(_strip(contact, several, Frame(start, end, 0.0, 1.0), zone) for contact in contacts)


def marked(
    contacts: Sequence[dict[str, Any]], start: datetime, end: datetime
) -> list[tuple[str, list[Mark]]]:
    """The same in words and times, for a picture to take along."""
    several = _several(contacts)
    return [
        (
            f"{_named(c, several)} {_summed(c)}{_unknown(c, '; ')}",
            [_placed(span, start, end) for span in c["spans"]],
        )
        for c in contacts
    ]


def rows(contacts: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The same as rows of a table, in order of time within each contact: ``state`` is ``silent`` where it is unknown."""
    found = []
    for contact in contacts:
        own = [{"state": "on", **span} for span in contact["spans"]]
        own += [{"state": "silent", **span} for span in contact["silent"]]
        for span in sorted(own, key=lambda s: str(s["from_at"])):
            seconds = span.pop("on_s")
            found.append(
                {"sensor": contact["sensor"], "quantity": contact["quantity"], **span, "lasted_s": seconds}
            )
    return found


def _placed(span: dict[str, Any], start: datetime, end: datetime) -> Mark:
    """From when until when a mark reaches, and its height as a share: one time is whole, several are a part."""
    begin, until = moment(span["from_at"]) or start, moment(span["to_at"]) or end
    share = span["on_s"] / max(1.0, (until - begin).total_seconds()) if span["times"] > 1 else 1.0
    return begin, until, min(1.0, max(LEAST_SHARE, share))


def _several(contacts: Sequence[dict[str, Any]]) -> set[str]:
    """The quantities that more than one contact tells."""
    return {q for q in STROKES if sum(c["quantity"] == q for c in contacts) > 1}


def _named(contact: dict[str, Any], several: set[str]) -> str:
    what = _what(contact)
    return f"{what} ({contact['sensor']}):" if contact["quantity"] in several else f"{what}:"


def _what(contact: dict[str, Any]) -> str:
    return say("door open") if contact["quantity"] == "door_open" else say("tank low")


def _strip(contact: dict[str, Any], several: set[str], frame: Frame, zone: ZoneInfo) -> str:
    named, summed, kind = _named(contact, several), _summed(contact), STROKES[contact["quantity"]]
    unknown, spoken = _unknown(contact), summed + _unknown(contact, "; ")
    marks = "".join(_mark(span, say("silent"), "silent", frame, zone) for span in contact["silent"])
    marks += "".join(_mark(span, _what(contact), kind, frame, zone) for span in contact["spans"])
    silent = f' <span class="on silent" aria-hidden="true"></span> {text(unknown)}' if unknown else ""
    return (
        f'<div class="contact-strip"><p><span class="on {kind}" aria-hidden="true"></span> <b>{text(named, 90)}</b> '
        f"{text(summed)}{silent}</p>"
        f'<div class="strip" role="img" aria-label="{text(f"{named} {spoken}", 300)}">{marks}</div></div>'
    )


def _summed(contact: dict[str, Any]) -> str:
    """How often and how long in all, for those who do not hover; and whether anything was heard."""
    if not contact["times"]:
        return say("not once in this span") if contact["heard"] else say("not heard from in this span")
    times = say_count("{count} time", "{count} times", contact["times"])
    if contact["times"] == 1:
        return f"{times}, {lasting(contact['on_s'])}"
    return say(
        "{times}, {span} in all, {longest} at the longest",
        times=times,
        span=lasting(contact["on_s"]),
        longest=lasting(contact["longest_s"]),
    )


def _unknown(contact: dict[str, Any], before: str = "") -> str:
    """For how long nothing is known of a contact that was heard; empty where it was never long silent."""
    if not contact["silent"] or not (contact["heard"] or contact["times"]):
        return ""
    return before + say("not heard from for {span}", span=lasting(contact["silent_s"]))


def _mark(span: dict[str, Any], what: str, kind: str, frame: Frame, zone: ZoneInfo) -> str:
    begin, until, share = _placed(span, frame.start, frame.end)
    width = min(100.0, max(LEAST_WIDTH, frame.x(until) - frame.x(begin)))
    left = min(frame.x(begin), 100.0 - width)
    return (
        f'<span class="on {kind}" style="left:{left:.2f}%;width:{width:.2f}%;height:{100 * share:.0f}%" '
        f'title="{text(_hover(span, what, frame.end, zone), 200)}"></span>'
    )


def _hover(span: dict[str, Any], what: str, now: datetime, zone: ZoneInfo) -> str:
    begin, length = when(span["from_at"], zone, now), lasting(span["on_s"])
    if span["to_at"] is None and span["times"] == 1:
        return say("{what} since {begin}: {length}", what=what, begin=begin, length=length)
    until = say("now") if span["to_at"] is None else when(span["to_at"], zone, now)
    if span["times"] == 1:
        return say(
            "{what} from {begin} to {until}: {length}", what=what, begin=begin, until=until, length=length
        )
    times = say_count("{count} time", "{count} times", span["times"])
    return say(
        "{what} {times} from {begin} to {until}: {length} in all",
        what=what, times=times, begin=begin, until=until, length=length,
    )  # fmt: skip


def lasting(seconds: float) -> str:
    """A length of time in the coarsest unit that still tells something, never parted from it: '26 min', '3.5 h'."""
    if seconds < 90:
        said = say("{count} s", count=f"{seconds:.0f}")
    elif seconds < 90 * 60:
        said = say("{count} min", count=f"{seconds / 60:.0f}")
    elif seconds < 36 * 3600:
        said = say("{count} h", count=number(seconds / 3600, 1))
    else:
        said = say_count("{count} day", "{count} days", round(seconds / 86400))
    return said.replace(" ", "\u00a0")
