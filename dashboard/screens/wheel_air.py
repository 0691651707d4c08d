"""The air a wheel lived in, span by span, and what it did to the wheel."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.course import Chart, Point, draw, ticks_below
from dashboard.language import say
from dashboard.panels import pace
from dashboard.parts import cell, place_words, section, table
from dashboard.plain import day, moment, number, shown_temperature, temperature, text, unit_sign

Shown = Callable[[Any], Any]
MARKED = ("move", "ironing", "grading", "inspection", "weighing")


def air(document: dict[str, Any], unit: str, zone: ZoneInfo, at: datetime) -> str:
    """The wheel's air against the bands it wanted, its moves and entries below, and the spans as a table."""
    course = document["air"]["course"]
    title = section(say("The air it lived in"))
    if not course:
        return title + f'<p class="quiet">{text(say("No air was read where it stood."))}</p>'
    start, end = moment(document["wheel"]["made_at"]) or at, at
    charts = [
        _course_chart(
            course, "temperature_c", ("temperature_low_c", "temperature_high_c"), say("Temperature"), unit_sign(unit),
            lambda v: shown_temperature(v, unit),
        ),
        _course_chart(course, "rh_pct", ("rh_low_pct", "rh_high_pct"), say("Humidity"), "%", lambda v: v),
    ]  # fmt: skip
    return (
        title
        + _known(document["air"]["coverage"])
        + "".join(draw(chart, start, end, zone) for chart in charts)
        + ticks_below(_marks(document), start, end)
        + _spans(document["air"]["spans"], unit, zone, at)
    )


def _known(coverage: float | None) -> str:
    if coverage is None:
        return ""
    words = say(
        "{share} % of the time was read; white is the band it wants.", share=number(100 * coverage, 0)
    )
    return f' <span class="quiet">{text(words)}</span>'


def _marks(document: dict[str, Any]) -> list[tuple[datetime, str]]:
    return [
        (at, say(entry["kind"]))
        for entry in document["ledger"]
        if entry["kind"] in MARKED and not entry.get("corrected_by") and (at := moment(entry["at"]))
    ]


def _course_chart(
    course: list[dict[str, Any]], value: str, band: tuple[str, str], name: str, sign: str, shown: Shown
) -> Chart:
    timed = [(moment(p["at"]), p) for p in course]
    points: list[Point] = [(t, shown(p[value])) for t, p in timed if t and p[value] is not None]
    bands = [
        (t, shown(p[band[0]]), shown(p[band[1]]))
        for t, p in timed
        if t and p.get(band[0]) is not None and p.get(band[1]) is not None
    ]
    steps = sorted((b[0] - a[0]).total_seconds() for a, b in pairwise(points))
    gap_s = max(2.5 * steps[len(steps) // 2], 1500.0) if steps else 1500.0
    return Chart(name, points, bands, sign=sign, gap_s=gap_s)


def _spans(spans: list[dict[str, Any]], unit: str, zone: ZoneInfo, at: datetime) -> str:
    heads = [say(word) for word in ("where", "from", "days", "temperature", "humidity", "outside its band")]
    rows = "".join(
        "<tr>"
        + cell(place_words(s))
        + cell(day(s["from_at"], zone, at), heads[1], "n")
        + cell(number(s["days"], 0), heads[2], "n")
        + cell(_range(s["temperature_c"], lambda v: temperature(v, unit), unit_sign(unit)), heads[3], "n")
        + cell(_range(s["rh_pct"], lambda v: number(v, 0), "%"), heads[4], "n")
        + cell(text(_outside(s)), heads[5])
        + "</tr>"
        for s in spans
    )
    return table(heads, rows)


def _range(values: dict[str, Any] | None, shown: Shown, sign: str) -> str:
    if not values or values["mean"] is None:
        return "–"
    between = say("{low} to {high}", low=shown(values["min"]), high=shown(values["max"]))
    return f"{shown(values['mean'])} ({text(between)}) {sign}"


def _outside(span: dict[str, Any]) -> str:
    words = {
        "warm": "{days} days too warm", "cold": "{days} days too cold", "damp": "{days} days too damp", "dry": "{days} days too dry",
    }  # fmt: skip
    if not span.get("coverage", 1.0):
        return say("not known")
    parts = [
        say(sentence, days=number(span[f"days_too_{way}"]))
        for way, sentence in words.items()
        if (span.get(f"days_too_{way}") or 0) >= 0.05
    ]
    return ", ".join(parts) or say("never")


def doses(document: dict[str, Any]) -> str:
    """What the air did: each dose in words and against the intended."""
    drawn = "".join(
        f"<p>{text(dose['words'], 400)}</p>{pace(say(dose['name']), dose['pace']) if dose['pace'] or dose['value'] is None else ''}"
        for dose in document["doses"]
    )
    drawn = drawn or f"<p>{text(say('Not enough readings yet.'))}</p>"
    return f'{section(say("What the air did"))}<div class="paces">{drawn}</div>'
