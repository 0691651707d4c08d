"""Wheels that live through the same hours together: their rind twins, and the doses that a rind gathers beside."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.rind import mites, mould
from monitor.rind.species import BLUE, species_named
from monitor.rind.twin import Twin
from monitor.site import Site
from monitor.twins.hourly import HOUR_MS, HourlyAir
from monitor.wheels.life import Life

Floats = NDArray[np.float64]

SOUND_CLOTH = 0.005
"""Share of its growth in open air that blue has under a sound cloth, where hardly any air gets in: assumed, no source;
inspections settle it."""
WAY_IN, OPEN_RIND = 0.1, 0.2
"""The same where one crack lets air in, and on a rind without cloth, among the moulds that are wanted there: assumed, no
source. Published speeds are of colonies alone on agar."""
MITES_SHOW = math.log(10_000.0)
"""Mite dose at which they show, a growth ten-thousandfold from what a brush leaves: assumed, no source."""
WAY_NAMES = {"crack": "cracked", "plug": "unsealed plug", "cloth": "lifted cloth"}
"""Ways in of a `Life`, as `monitor.rind.mould.AIR_WAY_FACTORS` names them."""


@dataclass
class Beside:
    """What a rind has gathered, one value a wheel.

    Attributes
    ----------
    blue : growth of blue since the last brushing over what shows [-]
    mites : mite dose since then over what shows [-]
    wet_hours : with free water on the rind, since it was made [h]
    """

    blue: Floats
    mites: Floats
    wet_hours: Floats

    @classmethod
    def fresh(cls, wheels: int) -> Beside:
        """Of wheels just made."""
        return cls(*(np.zeros(wheels) for _ in dataclasses.fields(cls)))

    def arrays(self) -> dict[str, Floats]:
        return {f.name: getattr(self, f.name) for f in dataclasses.fields(self)}

    def selected(self, index: Sequence[int]) -> Beside:
        """A copy of some wheels."""
        return Beside(**{name: values[list(index)] for name, values in self.arrays().items()})

    @staticmethod
    def joined(parts: Sequence[Beside]) -> Beside:
        """Wheels of several side by side."""
        names = parts[0].arrays()
        return Beside(**{name: np.concatenate([p.arrays()[name] for p in parts]) for name in names})


@dataclass
class Arrival:
    """Wheels that join a house when it comes to an hour."""

    hour: int
    names: list[str]
    twin: Twin
    beside: Beside

    def without(self, names: set[str]) -> None:
        """Let some of them go."""
        index = [i for i, name in enumerate(self.names) if name not in names]
        if index and len(index) < len(self.names):
            self.twin, self.beside = self.twin.selected(index), self.beside.selected(index)
        self.names = [self.names[i] for i in index]


class House:
    """Wheels carried on hour by hour; ``hour`` is the next to live.

    Parameters
    ----------
    site : for the air speed of places; air : by the hour; lives : of the wheels, by name (may change meanwhile:
        then `settle` again)
    arrivals : wheels with the hour each group of them begins at
    """

    def __init__(
        self, site: Site, air: HourlyAir, lives: Mapping[str, Life], arrivals: Sequence[Arrival]
    ) -> None:
        self._site, self._air, self._lives = site, air, lives
        self._arrivals = sorted(arrivals, key=lambda a: a.hour)
        self.hour = self._arrivals[0].hour if self._arrivals else 0
        self.names: list[str] = []
        self.twin: Twin | None = None
        self.beside = Beside.fresh(0)
        self._happenings: list[tuple[int, int, str]] = []

    def __len__(self) -> int:
        return len(self.names)

    @property
    def next_hour(self) -> int:
        """The hour that `live` would live through, beyond all where there is no wheel."""
        if self.twin is not None:
            return self.hour
        return self._arrivals[0].hour if self._arrivals else 2**60

    @property
    def waiting(self) -> list[str]:
        """Names of the wheels that have yet to join."""
        return [name for arrival in self._arrivals for name in arrival.names]

    def live(self) -> None:
        """Live through one hour, `next_hour`."""
        self.hour = self.next_hour
        self.let_in()
        if self.twin is None:
            return
        while self._happenings and self._happenings[-1][0] <= self.hour:
            _, wheel, what = self._happenings.pop()
            self._happen(wheel, what)
        celsius, rh = (values[self._place] for values in self._air.at(self.hour))
        self.twin.advance(HOUR_MS / 1000.0, celsius, rh, self._speed)
        self._gather(rh)
        self.hour += 1
        self.let_in()

    def take(self, names: set[str]) -> None:
        """Let wheels go out of the house, those that have yet to join too."""
        for arrival in self._arrivals:
            arrival.without(names)
        self._arrivals = [a for a in self._arrivals if a.names]
        index = [i for i, name in enumerate(self.names) if name not in names]
        if len(index) == len(self.names):
            return
        self.names = [self.names[i] for i in index]
        self.twin = self.twin.selected(index) if self.twin is not None and index else None
        self.beside = self.beside.selected(index)
        self.settle()

    def welcome(self, arrival: Arrival) -> None:
        """Let wheels join, at an hour not yet lived."""
        self._arrivals = sorted([*self._arrivals, arrival], key=lambda a: a.hour)
        self.hour = self.next_hour
        self.let_in()

    def copy_of(self, names: Sequence[str]) -> Arrival | None:
        """Some of its wheels as they are now, sharing nothing; None where it has none of them."""
        numbers = {name: i for i, name in enumerate(self.names)}
        found = [name for name in names if name in numbers]
        if self.twin is None or not found:
            return None
        index = [numbers[name] for name in found]
        return Arrival(self.hour, found, self.twin.selected(index), self.beside.selected(index))

    def settle(self) -> None:
        """Find anew where each wheel lies, how air gets into it, and what happens to it next."""
        now_ms, count = self.hour * HOUR_MS, len(self.names)
        self._place = np.full(count, -1)
        self._speed = np.full(count, np.nan)
        self._blue_share = np.zeros(count)
        self._happenings = []
        for i, name in enumerate(self.names):
            life = self._lives[name]
            for what in ("to", "ways"):
                self._happen(i, what)
            times = [(s[2], "to") for s in life.stays] + [
                (s[3], "to") for s in life.stays if s[3] is not None
            ]
            times += [(at, "brushed") for at in life.brushed_ms] + [(at, "ways") for at, _ in life.ways]
            self._happenings += [(-(-at // HOUR_MS), i, what) for at, what in times if at > now_ms - HOUR_MS]
        self._happenings.sort(reverse=True)

    def _happen(self, wheel: int, what: str) -> None:
        life, now_ms = self._lives[self.names[wheel]], self.hour * HOUR_MS
        if what == "to":
            stay = next((s for s in reversed(life.stays) if s[2] <= now_ms), None)
            here = stay is not None and (stay[3] is None or stay[3] > now_ms)
            self._place[wheel] = self._air.number(stay[0], stay[1]) if stay is not None and here else -1
            room = self._site.room_by_id.get(stay[0]) if stay is not None else None
            self._speed[wheel] = room.air_speed_at(stay[1]) if room and stay else np.nan
        elif what == "ways":
            self._blue_share[wheel] = blue_share(self._site, life, now_ms)
        else:
            self.beside.blue[wheel] = self.beside.mites[wheel] = 0.0

    def _gather(self, rh: Floats) -> None:
        assert self.twin is not None
        known = np.isfinite(rh)
        if not known.any():
            return
        surface, activity = self.twin.rind_temperature_c, self.twin.rind_water_activity
        speeds = [np.asarray(mould.growth_rate(surface, activity, name)) / shows for name, shows in SHOWING]
        day = np.where(known, 1.0 / 24.0, 0.0)
        self.beside.blue += day * self._blue_share * np.max(speeds, axis=0)
        self.beside.mites += (
            day * np.nan_to_num(mites.growth_rate(surface, rh, outside="nearest")) / MITES_SHOW
        )
        self.beside.wet_hours += known & (self.twin.state.film_kg > 0.0)

    def let_in(self) -> None:
        """Let the wheels join whose hour has come."""
        came = [a for a in self._arrivals if a.hour <= self.hour]
        if not came:
            return
        self._arrivals = [a for a in self._arrivals if a.hour > self.hour]
        twins = [a.twin for a in came] + ([self.twin] if self.twin is not None else [])
        besides = [a.beside for a in came] + ([self.beside] if self.twin is not None else [])
        self.names = [name for a in came for name in a.names] + self.names
        self.twin, self.beside = Twin.joined(twins), Beside.joined(besides)
        self.settle()


def blue_share(site: Site, life: Life, at_ms: int) -> float:
    """How fast blue grows in a wheel against alone in open air [-]: hardly under a sound cloth, `WAY_IN` where air gets
    in by a crack, and more where it gets in more ways (`monitor.rind.mould.AIR_WAY_FACTORS`)."""
    style, ways = site.style_by_id.get(life.style), life.ways_at(at_ms)
    factor = mould.air_way_factor(WAY_NAMES[way] for way in ways)
    if style is None or style.rind != "cloth-bound":
        return OPEN_RIND * factor
    return WAY_IN * factor / mould.AIR_WAY_FACTORS["cracked"] if ways else SOUND_CLOTH


def _shows(name: str) -> float:
    species = species_named(name)
    return mould.VISIBLE_RADIUS_MM + (species.lag_days or 0.0) * species.rate_mm_per_day


SHOWING = tuple((name, _shows(name)) for name in BLUE)
"""Each blue, and how far it must have grown from a spore to be seen, its lag counted as growth [mm]."""
