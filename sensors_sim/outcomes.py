"""What becomes of wheels, drawn from stated hazards: cracks, blue, mites, slip, surface moulds.

All hazards are invented; what drives each, and in which direction, is common practice of the trade, no
source, except where one is named.  The monitor never sees this file's numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sensors_sim.randomness import generator
from sensors_sim.wheels import Wheel

Array = NDArray[Any]
DAY_S = 86400.0

USUAL_DRYING_KG_M2_DAY = {"cloth-bound": 0.016, "natural": 0.038, "washed": 0.075}
"""Drying at which a rind of each kind is at ease; a young wheel dries faster, hence `YOUNG_EASE_DAYS`."""
YOUNG_EASE_DAYS = 12.0
CRACK_PER_DAY, CRACK_FROM_RATIO = 0.030, 1.25
"""Chance of a crack in a day = this x (drying over the usual, less the second)^2."""
DRY_RIND_ACTIVITY, DRY_RIND_PER_DAY = 0.85, 0.015
BLUE_TAKES_SHARE = 0.7
BLUE_MM_DAY = 0.55
"""Growth inwards at the organism's optimum; over a year at 11 degC some centimetres."""
BLUE_T = (3.0, 24.0, 33.0)
"""Lowest, best and highest temperature of a blue [degC]; Pitt and Hocking, from memory."""
BLUE_LEAST_ACTIVITY = 0.83
"""Pitt and Hocking, from memory; Gock et al. (2003) saw germination from 0.82 at 25 degC."""
MITE_DAY_AT_15 = 0.085
"""Increase of Tyrophagus similis at 15 degC [1/day]; Appl Entomol Zool 35:237 (2000)."""
MITE_FROM, MITE_BRUSHED = 2e-4, 0.30
SLIP_PER_DAY, SLIP_FROM_RH = 0.012, 96.5
MOULD_DAY, MOULD_FROM_RH = 0.05, 87.0


@dataclass(frozen=True)
class Event:
    """Something that happened to a wheel: time [s from the start], wheel, what."""

    time_s: float
    wheel: str
    what: str


class Outcomes:
    """The true state of every wheel's rind; `update` moves it on."""

    def __init__(self, wheels: list[Wheel], seed: int) -> None:
        self.wheels, self.events = wheels, list[Event]()
        count = len(wheels)
        self._rng = generator(seed, "outcomes")
        kinds = [w.style.rind for w in wheels]
        self._usual = np.array([USUAL_DRYING_KG_M2_DAY[k] for k in kinds])
        self._made = np.array([w.made_s for w in wheels])
        self._takes_blue = np.array([k != "washed" for k in kinds])
        self._slips = np.array([k == "washed" for k in kinds])
        self._blue_susceptible = self._rng.uniform(size=count) < BLUE_TAKES_SHARE
        self.cracks = np.zeros(count)
        self.cracked_s = np.full(count, np.nan)
        self.open_plug_s = np.full(count, np.nan)
        self.blue_mm = np.zeros(count)
        self.mites = np.full(count, MITE_FROM) * np.exp(self._rng.normal(0, 0.7, count))
        self.slip = np.zeros(count)
        self.moulds = np.full(count, 0.01)
        self.free_water_s = np.zeros(count)

    def update(
        self,
        time_s: float,
        span_s: float,
        which: Array,
        drying: Array,
        activity: Array,
        air_c: float,
        rh_pct: float,
    ) -> None:
        """Move the wheels ``which`` on by a span in which they dried at ``drying`` [kg/m2/s].

        ``activity`` is the mean water activity of their rinds; ``air_c``, ``rh_pct`` the room's air.
        """
        days = span_s / DAY_S
        self._crack(time_s, days, which, drying * DAY_S, activity)
        self._grow_blue(time_s, days, which, activity, air_c)
        warm = max(air_c - 2.0, 0.0) / 13.0
        damp = float(np.clip((rh_pct - 66.0) / 19.0, -0.5, 1.1))
        growth = MITE_DAY_AT_15 * warm * damp * days
        mites = self.mites[which]
        self.mites[which] = np.clip(mites + growth * mites * (1.0 - mites), MITE_FROM / 20, 1.0)
        mould = self.moulds[which]
        spread = MOULD_DAY * warm * np.clip((rh_pct - MOULD_FROM_RH) / 8.0, -0.3, 1.2) * days
        self.moulds[which] = np.clip(mould + spread * mould * (1.0 - mould) * 4.0, 0.003, 1.0)
        self._slide(time_s, days, which, rh_pct)

    def crack_chance(self, time_s: float, which: Array, drying: Array, activity: Array) -> Array:
        """Chance of a crack [1/day] of the wheels ``which``, drying at ``drying`` [kg/m2/day]."""
        age = (time_s - self._made[which]) / DAY_S
        usual = self._usual[which] * (1.0 + 2.5 * np.exp(-age / YOUNG_EASE_DAYS))
        strain = np.clip(drying / usual - CRACK_FROM_RATIO, 0.0, 4.0)
        parched = np.clip((DRY_RIND_ACTIVITY - activity) / 0.05, 0.0, 3.0)
        chance: Array = (CRACK_PER_DAY * strain**2 + DRY_RIND_PER_DAY * parched**2) * (age > 3.0)
        return chance

    def _crack(self, time_s: float, days: float, which: Array, drying: Array, activity: Array) -> None:
        chance = self.crack_chance(time_s, which, drying, activity) * days
        struck = which[self._rng.uniform(size=len(which)) < chance]
        for index in struck:
            self.cracks[index] = min(4.0, self.cracks[index] + 1.0)
            if np.isnan(self.cracked_s[index]):
                self.cracked_s[index] = time_s
            self.events.append(Event(time_s, self.wheels[index].id, f"crack {self.cracks[index]:.0f}"))

    def _grow_blue(self, time_s: float, days: float, which: Array, activity: Array, air_c: float) -> None:
        """Blue needs air (a crack, or a plug left open) and time in which it can grow."""
        open_to_air = ~np.isnan(self.cracked_s[which]) | ~np.isnan(self.open_plug_s[which])
        grows = open_to_air & self._takes_blue[which] & self._blue_susceptible[which]
        low, best, high = BLUE_T
        warm = 0.0
        if low < air_c < high:
            warm = ((air_c - low) / (best - low)) ** 2 if air_c < best else (high - air_c) / (high - best)
        wet = np.clip((activity - BLUE_LEAST_ACTIVITY) / (0.96 - BLUE_LEAST_ACTIVITY), 0.0, 1.0)
        before = self.blue_mm[which]
        self.blue_mm[which] = before + np.where(grows, BLUE_MM_DAY * warm * (0.3 + 0.7 * wet) * days, 0.0)
        for index in which[(before < 4.0) & (self.blue_mm[which] >= 4.0)]:
            self.events.append(Event(time_s, self.wheels[index].id, "blue under the rind"))

    def _slide(self, time_s: float, days: float, which: Array, rh_pct: float) -> None:
        if rh_pct <= SLIP_FROM_RH:
            return
        self.free_water_s[which] += days * DAY_S
        chance = SLIP_PER_DAY * min((rh_pct - SLIP_FROM_RH) / 1.5, 2.0) * days
        struck = which[(self._rng.uniform(size=len(which)) < chance) & self._slips[which]]
        for index in struck:
            self.slip[index] = min(4.0, self.slip[index] + 1.0)
            self.events.append(Event(time_s, self.wheels[index].id, f"slip {self.slip[index]:.0f}"))

    def brush(self, index: int) -> None:
        """Brushing takes mites and mould off."""
        self.mites[index] *= MITE_BRUSHED
        self.moulds[index] *= 0.5

    def iron(self, index: int, time_s: float, sealed: bool) -> None:
        """An ironing; a plug that is not sealed lets air in."""
        if not sealed:
            self.open_plug_s[index] = time_s
            self.events.append(Event(time_s, self.wheels[index].id, "plug left open"))

    def true_steps(self, index: int) -> dict[str, int]:
        """What a perfect observer would write, 0 to 4."""
        blue, plug = self.blue_mm[index], ~np.isnan(self.open_plug_s[index])
        depth = int(np.searchsorted([4.0, 8.0, 16.0, 40.0], blue, side="right"))
        return {
            "cracks": int(self.cracks[index]),
            "blue_under_cloth": depth if not plug else max(0, depth - 1),
            "blue_at_plug": depth if plug else 0,
            "mites": int(np.searchsorted([0.02, 0.10, 0.35, 0.8], self.mites[index], side="right")),
            "slip": int(self.slip[index]),
            "moulds": int(np.searchsorted([0.03, 0.15, 0.45, 0.8], self.moulds[index], side="right")),
        }
