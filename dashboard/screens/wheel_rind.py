"""The rind as the wheel's twin has it, what to expect and how surely, and the weight with its interval."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.course import Chart, draw
from dashboard.language import say
from dashboard.parts import cell, section, table
from dashboard.plain import moment, number, text, when
from dashboard.profile import rind_profile


def rind(document: dict[str, Any], zone: ZoneInfo, at: datetime) -> str:
    """What the twin says of the rind now, and what may be found; only what the document has."""
    return _twin(document.get("rind"), zone, at) + _expected(document.get("expect") or [])


def _twin(twin: dict[str, Any] | None, zone: ZoneInfo, at: datetime) -> str:
    if not twin:
        return ""
    words = "".join(f"<li>{text(line, 400)}</li>" for line in twin.get("words") or [])
    facts = [
        (say("water activity at the surface"), number(twin.get("water_activity"), 3)),
        (say("loses, g a day"), number(_grams(twin.get("loss_kg_per_day")), 0)),
        (say("hours with free water"), number(twin.get("free_water_hours"), 0)),
        (say("hours not known"), number(twin.get("unknown_hours"), 0)),
    ]
    shown = "".join(f"<span>{text(name)} <b>{value}</b></span>" for name, value in facts if value != "–")
    late = " " + say("It lags behind the air.") if twin.get("late") else ""
    true = say(
        "The rind twin as of {when}: worked out from the air, not measured.",
        when=when(twin.get("at"), zone, at),
    )
    return (
        f'{section(say("The rind by depth"))}<div class="columns"><div>{rind_profile(twin.get("profile") or [])}</div>'
        f'<div><ul class="plain">{words}</ul><p class="pairs">{shown}</p><p class="quiet">{text(true + late)}</p></div></div>'
    )


def _grams(mass_kg: float | None) -> float | None:
    return None if mass_kg is None else 1000 * mass_kg


def _expected(rows: list[dict[str, Any]]) -> str:
    if not rows:
        return ""
    heads = [say("what"), say("how likely"), say("why")]
    drawn = "".join(
        "<tr>"
        + cell(f"<b>{text(row.get('words') or row['what'], 300)}</b>", sort="free")
        + cell(_likely(row.get("probability")), heads[1], "n")
        + cell(text(row.get("ground") or "", 400), heads[2], "free")
        + "</tr>"
        for row in rows
    )
    return section(say("What may be found")) + table(heads, drawn)


def _likely(value: dict[str, float] | None) -> str:
    if not value:
        return text(say("not known"))
    between = say(
        "{low} to {high} in 100", low=number(100 * value["low"], 0), high=number(100 * value["high"], 0)
    )
    return f"<b>{number(100 * value['value'], 0)}</b> ({text(between)})"


def weight(document: dict[str, Any], zone: ZoneInfo) -> str:
    """Weighings as dots, with their doubt where stated, over the interval that the air should have left."""
    figures = document["weight"]
    dots = [(t, w["mass_kg"]) for w in figures["weighings"] if (t := moment(w["at"]))]
    soft = [(t, e["low_kg"], e["high_kg"]) for e in figures["expected"] if (t := moment(e["at"]))]
    middle = [(t, e["mass_kg"]) for e in figures["expected"] if (t := moment(e["at"]))]
    start, end = moment(document["wheel"]["made_at"]), moment(document["at"])
    lost = figures["loss_pct"]
    words = "" if lost is None else say("lost {percent} % so far", percent=number(lost))
    chart = Chart(say("Weight"), middle, soft=soft, dots=dots, sign="kg", low=True, words=words)
    drawn = draw(chart, start, end, zone) if start and end else ""
    key = (
        say("Dots are weighings; the soft band is what the air should have left of it.")
        if dots or soft
        else ""
    )
    return f'{section(say("Weight"))}{drawn}{_now(figures)}<p class="quiet">{text(key)}</p>'


def _now(figures: dict[str, Any]) -> str:
    present = figures.get("now")
    if not present:
        return ""
    words = say(
        "About {mass} kg now, between {low} and {high} kg.", mass=number(present["value"], 2), low=number(present["low"], 2), high=number(present["high"], 2),
    )  # fmt: skip
    return f"<p><b>{text(words)}</b> {text(figures.get('note') or '', 300)}</p>"
