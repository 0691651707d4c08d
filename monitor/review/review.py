"""The review of one wheel: what it has been through, and what to check before the iron goes in."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from monitor.clock import DAY_MS, TEN_MINUTES_MS, now, rfc3339, to_ms
from monitor.errors import LedgerError
from monitor.review.advice import keep_the_iron_from, look_at, statement
from monitor.review.lived import Lived, Stay, lived
from monitor.rind.ripening import mean_kinetic_temperature
from monitor.site import Site
from monitor.store.protocol import Store
from monitor.wheels import Entry, Ledger, Wheel

VERSION = 1
COURSE_POINTS = 1500
CAUTIONS = (
    "Expectations are no judgement of safety: local food-safety rules and licensed practice decide, raw milk above all.",
    "Doses come from the air where the wheel lay; a wheel behind others may have felt something else.",
)


def review_wheel(
    site: Site, store: Store, ledger: Ledger, name: str, at: datetime | None = None
) -> dict[str, Any]:
    """The ``review`` document of a wheel (see ``monitor/docs/json.md``).

    Parameters
    ----------
    at : the moment to review at; the present where left out

    Raises
    ------
    UnknownWheel
        No wheel of that name is in the ledger.
    LedgerError
        Its style is no longer in the site file.
    """
    moment = at or now()
    wheel = ledger.wheel(name, moment)
    style = site.style_by_id.get(wheel.style)
    if style is None:
        raise LedgerError(
            f"wheel {name!r} is of style {wheel.style!r}, which is not in the site file; add it there"
        )
    entries = [e for e in ledger.history(name) if e.at_ms <= to_ms(moment)]
    end_ms = to_ms(wheel.gone_at or moment)
    stays: list[Stay] = [
        (room, place, start, min(end if end is not None else end_ms, end_ms))
        for room, place, start, end in ledger.locations(name)
        if start < end_ms
    ]
    spans = lived(site, store, style, to_ms(wheel.made_at), stays)
    document = {
        "version": VERSION,
        "at": rfc3339(moment),
        "wheel": _wheel(site, wheel, moment),
        "where": _where(site, wheel),
        "air": {
            "coverage": _coverage(spans),
            "spans": [_span(site, s) for s in spans],
            "course": _course(spans),
        },
        "doses": _doses(spans),
        "weight": _weight(wheel, entries),
        "holes": wheel.holes,
    }
    return {
        **document,
        "statement": statement(document, entries),
        "look_at": look_at(document, entries),
        "keep_the_iron_from": keep_the_iron_from(entries),
        "ledger": [e.document() for e in entries],
        "cautions": list(CAUTIONS),
    }


def _wheel(site: Site, wheel: Wheel, moment: datetime) -> dict[str, Any]:
    style = site.style_by_id[wheel.style]
    age = wheel.age_days(wheel.gone_at or moment)
    return {
        "name": wheel.name,
        "make": wheel.make,
        "style": wheel.style,
        "style_name": style.name,
        "made_at": rfc3339(wheel.made_at),
        "age_days": round(age, 2),
        "stage": style.stage_at(age).name,
        "grading_from_day": style.grading_from_day,
        "mass_at_make_kg": wheel.mass_at_make_kg,
        "raw_milk": wheel.raw_milk,
        "decision": wheel.decision,
        "look_again_on": wheel.look_again_on,
        "gone": {"at": rfc3339(wheel.gone_at), "why": wheel.gone_why} if wheel.gone_at else None,
    }


def _where(site: Site, wheel: Wheel) -> dict[str, Any] | None:
    if wheel.room is None or wheel.gone_at is not None:
        return None
    room = site.room_by_id.get(wheel.room)
    return {
        "room": wheel.room,
        "room_name": room.name if room else wheel.room,
        "place": wheel.place,
        "place_name": _place_name(site, wheel.room, wheel.place or ""),
        "since_at": rfc3339(wheel.since),
    }


def _place_name(site: Site, room_id: str, place_id: str) -> str:
    room = site.room_by_id.get(room_id)
    named = (p.name for p in room.places if p.id == place_id and p.name) if room else iter(())
    return next(named, place_id)


def _coverage(spans: list[Lived]) -> float | None:
    expected = sum(s.expected for s in spans)
    return round(sum(s.coverage * s.expected for s in spans) / expected, 4) if expected else None


def _span(site: Site, span: Lived) -> dict[str, Any]:
    frame, room = span.frame, site.room_by_id.get(span.room)
    per_day = DAY_MS / TEN_MINUTES_MS
    t, rh = frame["temperature_c"], frame["rh_pct"]
    return {
        "room": span.room,
        "room_name": room.name if room else span.room,
        "place": span.place,
        "place_name": _place_name(site, span.room, span.place),
        "from_at": rfc3339(span.from_ms),
        "to_at": rfc3339(span.to_ms),
        "days": round((span.to_ms - span.from_ms) / DAY_MS, 2),
        "coverage": round(span.coverage, 4),
        "temperature_c": _summary(t, frame["temperature_min_c"], frame["temperature_max_c"]),
        "rh_pct": _summary(rh, frame["rh_min_pct"], frame["rh_max_pct"]),
        "days_too_warm": round(float((t > frame["temperature_high_c"]).sum() / per_day), 2),
        "days_too_cold": round(float((t < frame["temperature_low_c"]).sum() / per_day), 2),
        "days_too_damp": round(float((rh > frame["rh_high_pct"]).sum() / per_day), 2),
        "days_too_dry": round(float((rh < frame["rh_low_pct"]).sum() / per_day), 2),
    }


def _summary(mean: pd.Series, low: pd.Series, high: pd.Series) -> dict[str, float | None]:
    if not mean.notna().any():
        return {"mean": None, "min": None, "max": None}
    return {
        "mean": round(float(mean.mean()), 2),
        "min": round(float(low.min()), 2),
        "max": round(float(high.max()), 2),
    }


def _course(spans: list[Lived]) -> list[dict[str, Any]]:
    """The air's course in at most `COURSE_POINTS` even steps of whole slots, gaps left out."""
    if not spans:
        return []
    total = max(1, spans[-1].to_ms - spans[0].from_ms)
    step = max(1, -(-total // (COURSE_POINTS * TEN_MINUTES_MS))) * TEN_MINUTES_MS
    columns = [
        "temperature_c",
        "rh_pct",
        "temperature_low_c",
        "temperature_high_c",
        "rh_low_pct",
        "rh_high_pct",
    ]
    course: list[dict[str, Any]] = []
    for span in spans:
        frame = span.frame[columns].dropna(subset=["temperature_c", "rh_pct"])
        mean = frame.groupby(frame.index.to_numpy() // step * step).mean().round(3)
        extremes = span.frame.groupby(span.frame.index.to_numpy() // step * step).agg(
            {"temperature_min_c": "min", "temperature_max_c": "max", "rh_min_pct": "min", "rh_max_pct": "max"}
        )
        merged = mean.join(extremes.round(3))
        times = [rfc3339(max(int(t), span.from_ms)) for t in merged.index]
        rows = merged.to_dict(orient="records")
        course += [
            {"at": t, "place": span.place, "room": span.room, **row}
            for t, row in zip(times, rows, strict=True)
        ]
    return course


def _doses(spans: list[Lived]) -> list[dict[str, Any]]:
    """Doses in days of the style's own reference climate: a pace of 1 for a day is a dose of one day."""
    doses = [_dose(spans, name) for name in ("drying", "mould")]
    temperature = (
        np.concatenate([s.frame["temperature_c"].to_numpy() for s in spans]) if spans else np.zeros(0)
    )
    reference = np.concatenate([s.frame["reference_c"].to_numpy() for s in spans]) if spans else np.zeros(0)
    known = np.isfinite(temperature)
    warmth: dict[str, Any] = {
        "name": "warmth",
        "value": None,
        "reference": None,
        "unit": "degC",
        "pace": None,
    }
    warmth |= {"coverage": _coverage(spans), "words": "warmth not known"}
    if known.any():
        value = round(mean_kinetic_temperature(temperature[known]), 2)
        wanted = round(mean_kinetic_temperature(reference[known]), 2)
        difference = value - wanted
        words = (
            "as warm as intended"
            if abs(difference) < 0.5
            else f"{abs(difference):.1f} K {'warmer' if difference > 0 else 'cooler'} than intended"
        )
        warmth |= {
            "value": value,
            "reference": wanted,
            "words": f"ripened {words} (mean kinetic temperature)",
        }
    return [*doses, warmth]


def _dose(spans: list[Lived], name: str) -> dict[str, Any]:
    paces = np.concatenate([s.frame[name].to_numpy() for s in spans]) if spans else np.zeros(0)
    known = paces[np.isfinite(paces)]
    expected = sum(s.expected for s in spans)
    document: dict[str, Any] = {
        "name": name,
        "unit": "days of the reference climate",
        "value": None,
        "reference": None,
    }
    document |= {"pace": None, "coverage": None, "words": f"{name} not known"}
    if not len(known) or not expected:
        return document
    days = len(known) * TEN_MINUTES_MS / DAY_MS
    pace = float(known.mean())
    document |= {
        "value": round(pace * days, 2),
        "reference": round(days, 2),
        "pace": {"value": round(pace, 3), **_doubt(pace, spans, name)},
        "coverage": round(min(1.0, len(known) / expected), 4),
        "words": f"{name} at {pace:.1f} times the intended pace over {days:.0f} days",
    }
    return document


def _doubt(pace: float, spans: list[Lived], name: str) -> dict[str, float]:
    """The 90 % interval that a steady error of the sensors gives: the slope of pace over humidity times 1.645 sigma.

    Sensors err for months to one side (drift, calibration), so the error is taken as the same in every slot.
    """
    rh = np.concatenate([s.frame["rh_pct"].to_numpy() for s in spans])
    values = np.concatenate([s.frame[name].to_numpy() for s in spans])
    sigma = np.concatenate([s.frame["rh_sigma_pct"].to_numpy() for s in spans])
    known = np.isfinite(rh) & np.isfinite(values) & np.isfinite(sigma)
    if known.sum() < 10 or np.ptp(rh[known]) < 0.5:
        return {"low": round(pace, 3), "high": round(pace, 3)}
    slope = np.polyfit(rh[known], values[known], 1)[0]
    half = 1.645 * abs(slope) * float(sigma[known].mean())
    return {"low": round(max(0.0, pace - half), 3), "high": round(pace + half, 3)}


def _weight(wheel: Wheel, entries: list[Entry]) -> dict[str, Any]:
    weighings = [
        {"at": rfc3339(e.at_ms), "mass_kg": e.details["mass_kg"], "sigma_kg": e.details.get("sigma_kg")}
        for e in entries
        if e.kind == "weighing" and e.effective
    ]
    first = wheel.mass_at_make_kg or (weighings[0]["mass_kg"] if weighings else None)
    loss = 100.0 * (1 - weighings[-1]["mass_kg"] / first) if weighings and first else None
    return {"weighings": weighings, "expected": [], "loss_pct": None if loss is None else round(loss, 2)}
