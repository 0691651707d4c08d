"""The doses of a wheel against its style's own reference climate, each with the range that its sensors leave."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from monitor.air.saturation import ZERO_CELSIUS_K
from monitor.climate.dose_book import NUMBER, DoseBook, pieces_of
from monitor.climate.running_sums import MIDDLE_RH, NEAR_SATURATION_PCT, kinetic_temperature
from monitor.clock import DAY_MS, rfc3339
from monitor.review.air_part import Lived
from monitor.rind import mites
from monitor.rind.ripening import GAS_CONSTANT, RIPENING_ACTIVATION_ENERGY

NINETY_PCT = 1.645
LEAST_SPREAD_PCT = 0.1
"""Humidity that hardly moved (standard deviation) tells no slope of a pace over it [%]."""
UNKNOWN_RIPENING = (0.8, 1.25)
"""Ripening in unknown time lies within this of the intended (assumed) [-]."""


def doses_part(book: DoseBook, life: Lived, end_ms: int, brushed_ms: int | None) -> list[dict[str, Any]]:
    """The ``doses`` of a review; a pace of 1 for a day is a dose of one day of the reference climate."""
    return [
        _pace_dose(life, "drying"),
        _pace_dose(life, "mould"),
        _warmth(life),
        _mites(book, life, end_ms, brushed_ms),
        _wetness(life),
    ]


def equivalent_age(life: Lived, age_days: float) -> dict[str, float] | None:
    """Age in days of the style's own reference climate that would have ripened it as far, with a 90 % range.

    Time with unknown air counts as intended; the range takes it as `UNKNOWN_RIPENING`. None without known air.
    """
    known, equivalent = life.total("temperature_known"), life.total("equivalent_days")
    if known <= 0.0:
        return None
    unknown = max(0.0, age_days - known)
    sigma = NINETY_PCT * _mean(life, "sigma_t", "known") * _ripening_slope(life)
    low = equivalent * (1.0 - sigma) + unknown * UNKNOWN_RIPENING[0]
    high = equivalent * (1.0 + sigma) + unknown * UNKNOWN_RIPENING[1]
    return {"value": round(equivalent + unknown, 1), "low": round(low, 1), "high": round(high, 1)}


def _ripening_slope(life: Lived) -> float:
    """Relative change of the ripening rate for a kelvin: Ea/(R T^2) [1/K]."""
    kelvin = _mean(life, "temperature", "temperature_known") + ZERO_CELSIUS_K
    return RIPENING_ACTIVATION_ENERGY / (GAS_CONSTANT * kelvin**2)


def _mean(life: Lived, name: str, over: str) -> float:
    days = life.total(over)
    return life.total(name) / days if days > 0.0 else 0.0


def _pace_dose(life: Lived, name: str) -> dict[str, Any]:
    days, expected = life.total(f"{name}_known"), life.total("days")
    document: dict[str, Any] = {
        "name": name,
        "unit": "days of the reference climate",
        "value": None,
        "reference": None,
        "pace": None,
        "coverage": None,
        "words": f"{name} not known",
    }
    if days <= 0.0 or expected <= 0.0:
        return document
    pace = life.total(name) / days
    return document | {
        "value": round(pace * days, 2),
        "reference": round(days, 2),
        "pace": {"value": round(pace, 3), **_doubt(life, name, pace)},
        "coverage": round(min(1.0, days / expected), 4),
        "words": f"{name} at {pace:.1f} times the intended pace over {days:.0f} days",
    }


def _doubt(life: Lived, name: str, pace: float) -> dict[str, float]:
    """The 90 % interval that a steady error of the sensors gives: the slope of pace over humidity times 1.645 sigma.

    Sensors err for months to one side (drift, calibration), so the error is taken as the same in every slot.
    """
    days = life.total("known")
    about, square = life.total("rh") / days, life.total("rh_square") / days
    variance = square - about**2
    if variance < LEAST_SPREAD_PCT**2:
        return {"low": round(pace, 3), "high": round(pace, 3)}
    slope = (life.total(f"{name}_rh") / days - about * pace) / variance
    half = NINETY_PCT * abs(slope) * _mean(life, "sigma_rh", "known")
    return {"low": round(max(0.0, pace - half), 3), "high": round(pace + half, 3)}


def _warmth(life: Lived) -> dict[str, Any]:
    days, expected = life.total("temperature_known"), life.total("days")
    document: dict[str, Any] = {
        "name": "warmth",
        "unit": "degC",
        "value": None,
        "reference": None,
        "pace": None,
        "coverage": life.coverage,
        "words": "warmth not known",
    }
    if days <= 0.0 or expected <= 0.0:
        return document
    value = kinetic_temperature(life.total("kinetic") / days)
    wanted = kinetic_temperature(life.total("kinetic_reference") / days)
    difference = round(value, 2) - round(wanted, 2)
    words = (
        "as warm as intended"
        if abs(difference) < 0.5
        else f"{abs(difference):.1f} K {'warmer' if difference > 0 else 'cooler'} than intended"
    )
    return document | {
        "value": round(value, 2),
        "reference": round(wanted, 2),
        "words": f"ripened {words} (mean kinetic temperature)",
    }


def _mites(book: DoseBook, life: Lived, end_ms: int, brushed_ms: int | None) -> dict[str, Any]:
    """How often mites could have doubled since the rind was last brushed, against the reference climate."""
    since = max(brushed_ms or life.made_ms, life.made_ms)
    stays = [(room, place, max(start, since), end) for room, place, start, end in life.stays if end > since]
    pieces = pieces_of(life.style, life.made_ms, stays)
    sums = book.sums(pieces)
    known = sums[:, NUMBER["known"]]
    document: dict[str, Any] = {
        "name": "mites",
        "unit": "doublings since the last brushing",
        "since_at": rfc3339(since),
        "value": None,
        "reference": None,
        "pace": None,
        "coverage": None,
        "words": "mites not known",
    }
    days = float(sums[:, NUMBER["days"]].sum())
    if not pieces or known.sum() <= 0.0 or days <= 0.0:
        return document
    dose = float(sums[:, NUMBER["mites"]].sum())
    intended = sum(
        float(k) * _mite_rate(p.stage.reference_temperature_c, p.stage.reference_rh_pct)
        for k, p in zip(known, pieces, strict=True)
    )
    pace = dose / intended if intended > 0.0 else None
    doublings = dose / math.log(2.0)
    since_words = "since it was brushed" if brushed_ms else "since it was made"
    return document | {
        "value": round(doublings, 2),
        "reference": round(intended / math.log(2.0), 2),
        "pace": None if pace is None else {"value": round(pace, 3), **_mite_doubt(sums, pace)},
        "coverage": round(min(1.0, float(known.sum()) / days), 4),
        "published": round(float(sums[:, NUMBER["mites_published"]].sum() / known.sum()), 4),
        "words": f"mites could have doubled {doublings:.0f} times {since_words}, {(end_ms - since) / DAY_MS:.0f} days ago",
    }


def _mite_rate(temperature_c: float, rh_pct: float) -> float:
    return float(np.asarray(mites.growth_rate(temperature_c, rh_pct, outside="nearest")))


def _mite_doubt(sums: Any, pace: float) -> dict[str, float]:
    """The 90 % interval by steady errors of temperature and humidity, from the rate about their means."""
    days = sums[:, NUMBER["known"]].sum()
    means = {
        name: float(sums[:, NUMBER[name]].sum() / days)
        for name in ("temperature", "rh", "sigma_t", "sigma_rh")
    }
    t, rh = means["temperature"], float(np.clip(means["rh"] + MIDDLE_RH, 0.0, 100.0))
    middle = max(1e-9, _mite_rate(t, rh))
    by_t = _mite_rate(t + means["sigma_t"], rh) - _mite_rate(t - means["sigma_t"], rh)
    high_rh, low_rh = min(100.0, rh + means["sigma_rh"]), max(0.0, rh - means["sigma_rh"])
    by_rh = _mite_rate(t, high_rh) - _mite_rate(t, low_rh)
    half = NINETY_PCT * math.hypot(by_t / 2.0, by_rh / 2.0) / middle * pace
    return {"low": round(max(0.0, pace - half), 3), "high": round(pace + half, 3)}


def _wetness(life: Lived) -> dict[str, Any]:
    hours, known = 24.0 * life.total("wet"), life.total("known")
    return {
        "name": "wetness",
        "unit": f"hours at or above {NEAR_SATURATION_PCT:g} %",
        "value": round(hours, 1) if known > 0.0 else None,
        "reference": 0.0 if known > 0.0 else None,
        "pace": None,
        "coverage": life.coverage,
        "words": f"the air stood near saturation for {hours:.0f} hours"
        if known > 0.0
        else "wetness not known",
    }
