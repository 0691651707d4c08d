"""The air a wheel has lived in: its stays joined with the air records of the places it lay at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor import air
from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.rind.drying import drying_pace
from monitor.rind.mould import mould_pace
from monitor.rind.species import RIND_MOULDS
from monitor.site import Site, Style
from monitor.store.protocol import Store

Floats = npt.NDArray[np.float64]
Stay = tuple[str, str, int, int]
"""Room, place, from [ms], to [ms]."""


@dataclass(frozen=True)
class Lived:
    """The ten-minute air of one stay, with the band and reference of the wheel's stage at each slot.

    ``frame`` is indexed by slot start [ms]: the air record's columns, and ``temperature_low_c``,
    ``temperature_high_c``, ``rh_low_pct``, ``rh_high_pct`` (the band), ``drying`` and ``mould`` (the paces [-], NaN
    where unknown).  Slots without a record are not in it; ``expected`` counts those there should be.
    """

    room: str
    place: str
    from_ms: int
    to_ms: int
    expected: int
    frame: pd.DataFrame

    @property
    def coverage(self) -> float:
        """The share of slots whose temperature and humidity are known, 0 to 1."""
        known = int(self.frame[["temperature_c", "rh_pct"]].notna().all(axis=1).sum())
        return min(1.0, known / self.expected) if self.expected else 0.0


def lived(site: Site, store: Store, style: Style, made_ms: int, stays: list[Stay]) -> list[Lived]:
    """The air of each stay, oldest first; a place without sensors takes its room's air."""
    return [_one(site, store, style, made_ms, stay) for stay in stays]


def _one(site: Site, store: Store, style: Style, made_ms: int, stay: Stay) -> Lived:
    room, place, from_ms, to_ms = stay
    frame = _air(store, room, place, from_ms, to_ms)
    age_days = (frame.index.to_numpy() - made_ms) / DAY_MS
    for name, values in _by_stage(style, age_days).items():
        frame[name] = values
    settings = site.room_by_id.get(room)
    speed = settings.air_speed_at(place) if settings else 0.1
    pressure = float(air.pressure_at_altitude(site.site.altitude_m))
    t, rh = frame["temperature_c"].to_numpy(), frame["rh_pct"].to_numpy()
    frame["drying"] = paces_of_drying(t, rh, frame, speed, pressure)
    frame["mould"] = paces_of_mould(t, rh, frame, style)
    return Lived(room, place, from_ms, to_ms, max(0, round((to_ms - from_ms) / TEN_MINUTES_MS)), frame)


def paces_of_drying(t: Floats, rh: Floats, frame: pd.DataFrame, speed: float, pressure_pa: float) -> Floats:
    """The drying pace of each slot [-]."""
    pace = drying_pace(
        t,
        np.clip(rh, 0.0, 100.0),
        frame["reference_c"].to_numpy(),
        frame["reference_rh"].to_numpy(),
        air_speed_m_s=speed,
        pressure_pa=pressure_pa,
    )
    return np.asarray(pace, dtype=float)


def paces_of_mould(t: Floats, rh: Floats, frame: pd.DataFrame, style: Style) -> Floats:
    """The mould pace of each slot [-], for a rind at rest with its air."""
    species = style.unwanted_moulds or RIND_MOULDS[style.rind].unwanted
    reference_t, reference_rh = frame["reference_c"].to_numpy(), frame["reference_rh"].to_numpy()
    pace = mould_pace(t, np.clip(rh, 0.0, 100.0) / 100.0, reference_t, reference_rh / 100.0, species=species)
    return np.asarray(pace, dtype=float)


def _air(store: Store, room: str, place: str, from_ms: int, to_ms: int) -> pd.DataFrame:
    start = from_ms - from_ms % TEN_MINUTES_MS
    frame = store.read_air(room, place, start, to_ms)
    if not frame["temperature_c"].notna().any():
        frame = store.read_air(room, "", start, to_ms)
    return frame.set_axis(pd.DatetimeIndex(frame.index).as_unit("ms").asi8)


def _by_stage(style: Style, age_days: Floats) -> dict[str, Floats]:
    ends = [np.inf if s.to_day is None else float(s.to_day) for s in style.stages]
    number = np.minimum(np.searchsorted(ends, age_days, side="right"), len(ends) - 1)
    columns = {
        "temperature_low_c": [s.temperature_c[0] for s in style.stages],
        "temperature_high_c": [s.temperature_c[1] for s in style.stages],
        "rh_low_pct": [s.rh_pct[0] for s in style.stages],
        "rh_high_pct": [s.rh_pct[1] for s in style.stages],
        "reference_c": [s.reference_temperature_c for s in style.stages],
        "reference_rh": [s.reference_rh_pct for s in style.stages],
    }
    return {name: np.asarray(values, dtype=float)[number] for name, values in columns.items()}
