"""What the air of a wheel's places has done to it between any two moments, from cumulative doses.

The air of each place is read once; each rate is summed once for each place, style and stage, so a wheel's dose over
a span costs its stays and not its history.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from monitor import air
from monitor.climate.doses import Dose, Span
from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.link.life import Life, Stay
from monitor.link.twin_course import TWIN_DOSES, twin_doses
from monitor.link.weighed import looseness_of
from monitor.rind.drying import TYPICAL_AIR_SPEED, drying_pace
from monitor.rind.mites import growth_rate as mite_rate
from monitor.rind.mould import mould_pace
from monitor.rind.species import RIND_MOULDS
from monitor.site import Site, Stage, Style
from monitor.store.protocol import Store

Floats = npt.NDArray[np.float64]
Course = tuple[npt.NDArray[np.int64], Floats, Floats]
"""Starts of ten-minute records [ms], temperature [degC] and relative humidity [%], NaN where not known."""
Airs = dict[tuple[str, str], Course]

HIGHEST_EXCESS = 5.0
DAMP_FROM_PCT = 95.0
YOUNG_DAYS = 60


def dry_limit_pct(style: Style) -> float:
    """Below this humidity [%] a day counts as dry for a style: the low edge of its band two months after the make."""
    return float(style.stage_at(YOUNG_DAYS).rh_pct[0])


@dataclass
class Exposures:
    """Doses of any wheel over any span.

    Names of doses, each in its rate times days: ``drying`` (pace), ``drying_excess`` (pace above 1.0), ``dry`` (days
    under `dry_limit_pct`), ``damp`` (days above 95 %), ``mould`` (pace), ``mites`` (e-foldings), ``warmth`` (degC days).
    """

    site: Site
    airs: Airs
    _doses: dict[tuple[str, str, str, str, str], Dose] = field(default_factory=dict)
    _twins: dict[tuple[str, str], Dose] = field(default_factory=dict)
    _looseness: dict[str, float] = field(default_factory=dict)

    def live_again(self, lives: Sequence[Life]) -> None:
        """Let these wheels' twins live through the air, so that `between` and `looseness` know them too."""
        self._twins |= twin_doses(self.site, lives, self._means)
        self._looseness |= looseness_of(lives, self.between)

    def looseness(self, life: Life) -> float:
        """How much more a wheel loses than its twin, see `monitor.link.weighed`; NaN where nothing is known of it."""
        return self._looseness.get(life.name, np.nan)

    def _means(self, stay: Stay, starts: npt.NDArray[np.int64], length_ms: int) -> tuple[Floats, Floats]:
        course = self._course(stay[0], stay[1])
        if course is None:
            return np.full(len(starts), np.nan), np.full(len(starts), np.nan)
        times, *values = course
        low, high = np.searchsorted(times, starts), np.searchsorted(times, starts + length_ms)
        found = []
        for value in values:
            known = np.isfinite(value)
            total = np.concatenate(([0.0], np.cumsum(np.where(known, value, 0.0))))
            count = np.concatenate(([0], np.cumsum(known)))
            with np.errstate(invalid="ignore"):
                found.append((total[high] - total[low]) / (count[high] - count[low]))
        return found[0], found[1]

    def _course(self, room: str, place: str) -> Course | None:
        return self.airs.get((room, place)) or self.airs.get((room, ""))

    def between(self, life: Life, name: str, from_ms: int, to_ms: int) -> Span:
        """The dose ``name`` of a wheel over a half-open span [ms]; time without known air is counted apart."""
        if name in TWIN_DOSES:
            return self._by_twin(life, name, from_ms, to_ms)
        value, known = 0.0, 0.0
        style = self.site.style_by_id[life.style]
        for room, place, start, end, stage in self._pieces(life, style, from_ms, to_ms):
            span = self._dose(room, place, style, stage, name).between(start, end)
            value += span.value or 0.0
            known += span.known_hours
        hours = max(0, to_ms - from_ms) / 3_600_000
        return Span(value if known > 0 else None, known, hours - known)

    def _by_twin(self, life: Life, name: str, from_ms: int, to_ms: int) -> Span:
        dose = self._twins.get((life.name, name))
        if dose is None:
            return Span(None, 0.0, max(0, to_ms - from_ms) / 3_600_000)
        return dose.between(from_ms, to_ms)

    def _pieces(
        self, life: Life, style: Style, from_ms: int, to_ms: int
    ) -> Iterable[tuple[str, str, int, int, Stage]]:
        """A span cut at moves and at changes of stage; places without any air are left out."""
        for room, place, stay_from, stay_to in life.stays:
            if self._course(room, place) is None:
                continue
            low, high = max(from_ms, stay_from), min(to_ms, stay_to)
            while low < high:
                stage = style.stage_at((low - life.made_ms) / DAY_MS)
                ends = high
                if stage.to_day is not None and stage is not style.stages[-1]:
                    ends = min(high, life.made_ms + stage.to_day * DAY_MS)
                yield (room, place, low, ends, stage)
                low = ends

    def _dose(self, room: str, place: str, style: Style, stage: Stage, name: str) -> Dose:
        key = (room, place, style.id, stage.name, name)
        if key not in self._doses:
            course = self._course(room, place)
            assert course is not None
            starts, t, rh = course
            known = np.isfinite(t) & np.isfinite(rh)
            rate = np.full(t.shape, np.nan)
            rate[known] = self._rate(room, place, style, stage, name, t[known], np.clip(rh[known], 0, 100))
            self._doses[key] = Dose(starts, rate)
        return self._doses[key]

    def _rate(
        self, room: str, place: str, style: Style, stage: Stage, name: str, t: Floats, rh: Floats
    ) -> Floats:
        rates: dict[str, Callable[[], object]] = {
            "drying": lambda: self._pace(room, place, stage, t, rh),
            "drying_excess": lambda: np.clip(
                self._pace(room, place, stage, t, rh) - 1.0, 0.0, HIGHEST_EXCESS
            ),
            "dry": lambda: rh < dry_limit_pct(style),
            "damp": lambda: rh > DAMP_FROM_PCT,
            "mould": lambda: mould_pace(
                t,
                rh / 100.0,
                stage.reference_temperature_c,
                stage.reference_rh_pct / 100.0,
                species=style.unwanted_moulds or RIND_MOULDS[style.rind].unwanted,
            ),
            "mites": lambda: mite_rate(t, rh, outside="nearest"),
            "warmth": lambda: t,
        }
        return np.asarray(rates[name](), dtype=float)

    def _pace(self, room: str, place: str, stage: Stage, t: Floats, rh: Floats) -> Floats:
        settings = self.site.room_by_id.get(room)
        pace = drying_pace(
            t,
            rh,
            stage.reference_temperature_c,
            stage.reference_rh_pct,
            air_speed_m_s=settings.air_speed_at(place) if settings else TYPICAL_AIR_SPEED,
            reference_air_speed_m_s=TYPICAL_AIR_SPEED,
            pressure_pa=float(air.pressure_at_altitude(self.site.site.altitude_m)),
        )
        return np.asarray(pace, dtype=float)


def airs_of(store: Store, lives: Iterable[Life]) -> Airs:
    """The air of every place where the wheels lay, read once; a place without records takes its room's."""
    spans: dict[tuple[str, str], tuple[int, int]] = {}
    for life in lives:
        for room, place, start, end in life.stays:
            low, high = spans.get((room, place), (start, end))
            spans[room, place] = (min(low, start), max(high, end))
    airs: Airs = {}
    for (room, place), (low, high) in spans.items():
        low -= low % TEN_MINUTES_MS
        frame = store.read_air(room, place, low, high)
        if not frame["temperature_c"].notna().any():
            frame = store.read_air(room, "", low, high)
        if len(frame):
            starts = pd.DatetimeIndex(frame.index).as_unit("ms").asi8
            # Copied: a view of two columns would keep the whole frame in memory.
            t, rh = (frame[name].to_numpy(dtype=float, copy=True) for name in ("temperature_c", "rh_pct"))
            airs[room, place] = (starts, t, rh)
    return airs
