"""The air that a wheel lived in, stay by stay, and its course beside the bands of its style."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.climate.dose_book import NUMBER, DoseBook, Piece, Stay, pieces_of
from monitor.climate.running_sums import MIDDLE_RH
from monitor.clock import DAY_MS, TEN_MINUTES_MS, rfc3339
from monitor.site import Site, Stage, Style

Floats = NDArray[np.float64]

COURSE_POINTS = 1500
EXTREMES = {
    "temperature_min_c": np.fmin,
    "temperature_max_c": np.fmax,
    "rh_min_pct": np.fmin,
    "rh_max_pct": np.fmax,
}


@dataclass(frozen=True)
class Lived:
    """The stays of a wheel, cut into pieces by stage of age, with the sums of each piece.

    Attributes
    ----------
    made_ms : make date [ms]; stays : in order, each with an end
    pieces : of them, ``sums`` one row each (`monitor.climate.dose_book.COLUMNS`)
    """

    style: Style
    made_ms: int
    stays: list[Stay]
    pieces: list[Piece]
    sums: Floats

    def total(self, name: str) -> float:
        """A sum over the whole life."""
        return float(self.sums[:, NUMBER[name]].sum())

    @property
    def coverage(self) -> float | None:
        """Share of its days with known air; None where it lay nowhere."""
        days = self.total("days")
        return round(min(1.0, self.total("known") / days), 4) if days else None


def lived(book: DoseBook, style: Style, made_ms: int, stays: list[Stay]) -> Lived:
    """What a wheel of a style has lived through."""
    pieces = pieces_of(style, made_ms, stays)
    return Lived(style, made_ms, stays, pieces, book.sums(pieces))


def air_part(site: Site, book: DoseBook, life: Lived) -> dict[str, Any]:
    """The ``air`` of a review."""
    with book.air.lock:
        return {
            "coverage": life.coverage,
            "spans": [_span(site, book, life, number) for number in range(len(life.stays))],
            "course": course(book, life),
        }


def place_name(site: Site, room_id: str, place_id: str) -> str:
    """What people call a place."""
    room = site.room_by_id.get(room_id)
    named = (p.name for p in room.places if p.id == place_id and p.name) if room else iter(())
    return next(named, place_id)


def _span(site: Site, book: DoseBook, life: Lived, number: int) -> dict[str, Any]:
    room_id, place, from_ms, to_ms = stay = life.stays[number]
    rows = [i for i, piece in enumerate(life.pieces) if piece.stay == number]
    sums = life.sums[rows].sum(axis=0)
    room = site.room_by_id.get(room_id)
    days, known = sums[NUMBER["days"]], sums[NUMBER["known"]]
    extremes = {name: _extreme(book, stay, name) for name in EXTREMES}
    return {
        "room": room_id,
        "room_name": room.name if room else room_id,
        "place": place,
        "place_name": place_name(site, room_id, place),
        "from_at": rfc3339(from_ms),
        "to_at": rfc3339(to_ms),
        "days": round((to_ms - from_ms) / DAY_MS, 2),
        "coverage": round(float(min(1.0, known / days)), 4) if days else 0.0,
        "temperature_c": {
            "mean": _mean(sums, "temperature", "temperature_known"),
            "min": extremes["temperature_min_c"],
            "max": extremes["temperature_max_c"],
        },
        "rh_pct": {
            "mean": _mean(sums, "rh", "known", MIDDLE_RH),
            "min": extremes["rh_min_pct"],
            "max": extremes["rh_max_pct"],
        },
        **{
            f"days_too_{word}": round(float(sums[NUMBER[name]]), 2)
            for word, name in (("warm", "warm"), ("cold", "cold"), ("damp", "damp"), ("dry", "dry"))
        },
        "hours_near_saturation": round(24.0 * float(sums[NUMBER["wet"]]), 1),
    }


def _mean(sums: Floats, name: str, over: str, about: float = 0.0) -> float | None:
    days = sums[NUMBER[over]]
    return round(float(sums[NUMBER[name]] / days) + about, 2) if days > 0.0 else None


def _extreme(book: DoseBook, stay: Stay, name: str) -> float | None:
    air = book.air.of(*book.air_of(stay))
    if air is None or stay[3] <= stay[2]:
        return None
    value = EXTREMES[name].reduce(air.slice(name, stay[2] // TEN_MINUTES_MS, -(-stay[3] // TEN_MINUTES_MS)))
    return round(float(value), 2) if np.isfinite(value) else None


def course(book: DoseBook, life: Lived) -> list[dict[str, Any]]:
    """The air's course in at most about `COURSE_POINTS` even steps of whole slots, what is not known left out."""
    if not life.stays:
        return []
    total = max(1, life.stays[-1][3] - life.stays[0][2])
    width = max(1, -(-total // (COURSE_POINTS * TEN_MINUTES_MS)))
    return [row for stay in life.stays for row in _course_of(book, life, stay, width)]


def _course_of(book: DoseBook, life: Lived, stay: Stay, width: int) -> list[dict[str, Any]]:
    room, place, from_ms, to_ms = stay
    air = book.air.of(*book.air_of(stay))
    low, high = from_ms // TEN_MINUTES_MS, -(-to_ms // TEN_MINUTES_MS)
    if air is None or high <= low:
        return []
    starts = np.arange(low - low % width, high, width)
    cuts = np.maximum(starts - low, 0)
    t, rh = air.slice("temperature_c", low, high), air.slice("rh_pct", low, high)
    known = np.isfinite(t) & np.isfinite(rh)
    count = np.add.reduceat(known.astype(float), cuts)
    columns = {
        name: np.add.reduceat(np.where(known, values, 0.0), cuts) / np.maximum(count, 1)
        for name, values in (("temperature_c", t), ("rh_pct", rh))
    }
    columns |= {name: choose.reduceat(air.slice(name, low, high), cuts) for name, choose in EXTREMES.items()}
    times = np.maximum(starts * TEN_MINUTES_MS, from_ms)
    columns |= _bands(life.style, (times - life.made_ms) / DAY_MS)
    keep = np.flatnonzero(count > 0)
    names = list(columns)
    table = np.stack([columns[name][keep] for name in names], axis=1).round(3)
    shown = table.astype(object)
    shown[np.isnan(table)] = None
    values = shown.tolist()
    texts = np.datetime_as_string(times[keep].astype("datetime64[ms]").astype("datetime64[s]"))
    return [
        {"at": f"{at}Z", "place": place, "room": room, **dict(zip(names, row, strict=True))}
        for at, row in zip(texts.tolist(), values, strict=True)
    ]


def stage_numbers(style: Style, age_days: Floats) -> NDArray[np.int64]:
    """The number of the stage at each age [d]."""
    starts = [stage.from_day for stage in style.stages[1:]]
    return np.asarray(np.searchsorted(starts, age_days, side="right"))


def _bands(style: Style, age_days: Floats) -> dict[str, Floats]:
    number = stage_numbers(style, age_days)

    def of(value: Any) -> Floats:
        return np.array([value(stage) for stage in style.stages], dtype=float)[number]

    def end(name: str, which: int) -> Floats:
        def value(stage: Stage) -> float:
            return float(getattr(stage, name)[which])

        return of(value)

    return {
        "temperature_low_c": end("temperature_c", 0),
        "temperature_high_c": end("temperature_c", 1),
        "rh_low_pct": end("rh_pct", 0),
        "rh_high_pct": end("rh_pct", 1),
    }
