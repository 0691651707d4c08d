"""Running sums over the slots of a place, of everything that a dose is a difference of.

A rate that bends (mould over humidity, ripening over temperature) is taken at every ten-minute slot and then summed.
A slot that is not known adds nothing to a sum and nothing to the time it counts over.
"""

from __future__ import annotations

from abc import ABC, abstractmethod

import numpy as np
from numpy.typing import NDArray

from monitor import air
from monitor.climate.air_book import PlaceAir
from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.rind import mites, ripening
from monitor.rind.drying import evaporation
from monitor.rind.mould import mould_pace
from monitor.rind.species import RIND_MOULDS
from monitor.site import Stage, Style

Floats = NDArray[np.float64]

RIND_WATER_ACTIVITY = 0.96
"""Of the rind in a drying pace, as in `monitor.rind.drying.drying_pace`."""
MIDDLE_RH = 85.0
"""Humidity is summed about this [%], so that squares of it stay exact."""
NEAR_SATURATION_PCT = 97.0
"""From here on a rind a few tenths colder than the air is wet, with sensors good to 2 %: common practice, no source."""
TWELVE_C = 12.0
SLOT_DAYS = TEN_MINUTES_MS / DAY_MS

PLACE_SUMS = (
    "known",
    "temperature_known",
    "temperature",
    "rh",
    "rh_square",
    "sigma_t",
    "sigma_rh",
    "kinetic",
    "ripening",
    "drying",
    "drying_rh",
    "drying_known",
    "mites",
    "mites_published",
    "wet",
)
"""Of a place, each times days: time with temperature and humidity known, and with temperature known; temperature
[degC]; humidity less `MIDDLE_RH` and its square; stated uncertainties [K], [%]; kinetic factor and ripening factor
against 12 degC [-]; evaporation [kg/m2/s], and the same times humidity less `MIDDLE_RH`; mites' rate [1/d], and time
in which that rate is a published one; time at or above `NEAR_SATURATION_PCT`."""

STAGE_SUMS = ("mould", "mould_rh", "mould_known", "warm", "cold", "damp", "dry")
"""Of a place for a stage of a style, times days: mould pace [-], the same times humidity less `MIDDLE_RH`, time with
such a pace; time above and below the band of temperature and of humidity."""


class RunningSums(ABC):
    """Sums over the slots of one place's air from its first on; `catch_up`, then ask `between` any times."""

    def __init__(self, of_air: PlaceAir, width: int) -> None:
        self.air = of_air
        self._version = -1
        self._first = 0
        self._sums = np.zeros((1, width))

    @property
    def size(self) -> int:
        """Memory that the sums take [bytes]."""
        return self._sums.nbytes

    @abstractmethod
    def rates(self, low: int, high: int) -> Floats:
        """The rate of each sum in the slots from number low to high, (slots, sums); NaN where not known."""

    def catch_up(self) -> None:
        """Make the sums again from the first slot on that changed since."""
        if self._version == self.air.version:
            return
        touched = self.air.touched_since(self._version) if self._first == self.air.first else self.air.first
        start = max(self.air.first, self.air.first if touched is None else touched)
        kept = self._sums[: start - self.air.first + 1] if start > self.air.first else self._sums[:1] * 0.0
        rates = np.nan_to_num(self.rates(start, self.air.end), copy=False)
        self._sums = np.empty((self.air.slots + 1, kept.shape[1]))
        self._sums[: len(kept)] = kept
        np.cumsum(rates * SLOT_DAYS, axis=0, out=self._sums[len(kept) :])
        self._sums[len(kept) :] += kept[-1]
        self._first, self._version = self.air.first, self.air.version

    def between(self, from_ms: NDArray[np.int64], to_ms: NDArray[np.int64]) -> Floats:
        """The sums of spans, (spans, sums), in time that does not grow with their length; a slot cut by an end of a
        span counts with its share."""
        return self._at(to_ms) - self._at(from_ms)

    def _at(self, time_ms: NDArray[np.int64]) -> Floats:
        position = np.clip(time_ms / TEN_MINUTES_MS - self._first, 0.0, len(self._sums) - 1)
        whole = np.minimum(position.astype(np.int64), len(self._sums) - 2)
        share = (position - whole)[:, None]
        low = self._sums[whole]
        return low + share * (self._sums[whole + 1] - low)


class PlaceSums(RunningSums):
    """The sums of `PLACE_SUMS` of one place, at an air speed [m/s] and an altitude [m]."""

    def __init__(self, of_air: PlaceAir, air_speed_m_s: float, altitude_m: float) -> None:
        super().__init__(of_air, len(PLACE_SUMS))
        self.air_speed_m_s = air_speed_m_s
        self.pressure_pa = float(air.pressure_at_altitude(altitude_m))

    def rates(self, low: int, high: int) -> Floats:
        t = self.air.slice("temperature_c", low, high)
        rh = np.clip(self.air.slice("rh_pct", low, high), 0.0, 100.0)
        both = np.isfinite(t) & np.isfinite(rh)
        about = np.where(both, rh - MIDDLE_RH, np.nan)
        dries = self.evaporation(t, rh)
        grows = np.asarray(mites.growth_rate(t, rh, outside="nearest"))
        columns = {
            "known": both,
            "temperature_known": np.isfinite(t),
            "temperature": t,
            "rh": about,
            "rh_square": about**2,
            "sigma_t": np.where(both, self.air.slice("temperature_sigma_k", low, high), np.nan),
            "sigma_rh": np.where(both, self.air.slice("rh_sigma_pct", low, high), np.nan),
            "kinetic": kinetic_factor(t),
            "ripening": ripening.rate_factor(t, TWELVE_C),
            "drying": dries,
            "drying_rh": dries * about,
            "drying_known": np.isfinite(dries),
            "mites": grows,
            "mites_published": np.isfinite(np.asarray(mites.growth_rate(t, rh))),
            "wet": rh >= NEAR_SATURATION_PCT,
        }
        return np.column_stack([np.asarray(columns[name], dtype=float) for name in PLACE_SUMS])

    def evaporation(self, temperature_c: Floats | float, rh_pct: Floats | float) -> Floats:
        """From a bare wet rind in this place's air [kg/m2/s]."""
        return np.asarray(
            evaporation(
                temperature_c,
                rh_pct,
                RIND_WATER_ACTIVITY,
                air_speed_m_s=self.air_speed_m_s,
                pressure_pa=self.pressure_pa,
            )
        )


class StageSums(RunningSums):
    """The sums of `STAGE_SUMS` for one stage of a style, and what its reference climate does.

    Attributes
    ----------
    drying_scale : over which evaporation there, so that evaporation times it is a drying pace; 0 where a rind would
        not dry there either [m2 s/kg]
    reference_c, kinetic_reference, ripening_reference : of a day there [degC], [-], [-]
    """

    def __init__(self, place: PlaceSums, style: Style, stage: Stage) -> None:
        super().__init__(place.air, len(STAGE_SUMS))
        self._stage = stage
        self._species = style.unwanted_moulds or RIND_MOULDS[style.rind].unwanted
        intended = float(place.evaporation(stage.reference_temperature_c, stage.reference_rh_pct))
        self.drying_scale = 1.0 / intended if intended > 0.0 else 0.0
        self.reference_c = stage.reference_temperature_c
        self.kinetic_reference = float(kinetic_factor(np.array(self.reference_c)))
        self.ripening_reference = float(np.asarray(ripening.rate_factor(self.reference_c, TWELVE_C)))

    def rates(self, low: int, high: int) -> Floats:
        t, stage = self.air.slice("temperature_c", low, high), self._stage
        rh = self.air.slice("rh_pct", low, high)
        possible = np.clip(rh, 0.0, 100.0)
        pace = np.asarray(
            mould_pace(
                t,
                possible / 100.0,
                stage.reference_temperature_c,
                stage.reference_rh_pct / 100.0,
                species=self._species,
            ),
            dtype=float,
        )
        parts = [
            pace,
            pace * (possible - MIDDLE_RH),
            np.isfinite(pace),
            t > stage.temperature_c[1],
            t < stage.temperature_c[0],
            rh > stage.rh_pct[1],
            rh < stage.rh_pct[0],
        ]
        return np.column_stack([np.asarray(part, dtype=float) for part in parts])


def kinetic_factor(temperature_c: Floats) -> Floats:
    """What a mean kinetic temperature is a mean of, as a factor against 12 degC [-]; see `kinetic_temperature`."""
    return np.asarray(
        ripening.rate_factor(temperature_c, TWELVE_C, ripening.KINETIC_ACTIVATION_ENERGY), dtype=float
    )


def kinetic_temperature(mean_factor: float) -> float:
    """The mean kinetic temperature [degC] that a mean of `kinetic_factor` comes to; the source is at
    `monitor.rind.ripening.mean_kinetic_temperature`."""
    slope = ripening.KINETIC_ACTIVATION_ENERGY / ripening.GAS_CONSTANT
    twelve_k = TWELVE_C + air.ZERO_CELSIUS_K
    return float(slope / (slope / twelve_k - np.log(mean_factor))) - air.ZERO_CELSIUS_K
