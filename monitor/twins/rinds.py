"""What the running twins say of each wheel, as the rules and the review read it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from monitor.records import RindNow
from monitor.site import Site, Style
from monitor.twins.hourly import HOUR_MS
from monitor.twins.house import House
from monitor.twins.learning import Learnt, weighed_after_making
from monitor.twins.past import Past
from monitor.twins.weight import (
    MEAN_FIRST_SHARE,
    OWN_FIRST_SIGMA_KG,
    SCALE_SIGMA_KG,
    STYLE_FIRST_SHARE,
    WeightLaw,
    weight_law,
)
from monitor.wheels.life import WAYS_IN, Life

KG_S_TO_KG_DAY = 86_400.0


class Rinds:
    """`RindNow` of every wheel, made anew by `tell`.

    Attributes
    ----------
    now : by wheel; stale : whether a wheel's weighings changed since they were last told
    """

    def __init__(
        self, site: Site, lives: Mapping[str, Life], past: Past, learnt_of: Callable[[Life], Learnt]
    ) -> None:
        self._site, self._lives, self._past, self._learnt_of = site, lives, past, learnt_of
        self._laws: dict[str, tuple[int, WeightLaw]] = {}
        self.now: dict[str, RindNow] = {}
        self.stale = False

    def forget(self, name: str) -> None:
        """A wheel whose weighings changed, or that is no more."""
        self._laws.pop(name, None)
        self.stale = True

    def tell(self, house: House) -> None:
        """Say anew what every wheel of a house is like, and forget those that are no longer in the ledger."""
        self.stale = False
        told = {name: rind for name, rind in self.now.items() if name in self._lives}
        if house.twin is None:
            self.now = told
            return
        twin, at_ms = house.twin, house.hour * HOUR_MS
        columns = {
            "loss": twin.loss_kg,
            "unseen": twin.state.unseen_kg,
            "activity": twin.rind_water_activity,
            "surface": twin.rind_temperature_c,
            "rate": twin.state.loss_rate,
            "cracking": twin.cracking_index,
            "gap": twin.state.gap_s,
            **house.beside.arrays(),
        }
        values = np.stack(list(columns.values()), axis=1).tolist()
        for name, row in zip(house.names, values, strict=True):
            told[name] = self._one(name, at_ms, dict(zip(columns, row, strict=True)))
        self.now = told

    def _one(self, name: str, at_ms: int, value: dict[str, float]) -> RindNow:
        life, law = self._lives[name], self._law(name, value["loss"], at_ms)
        mass, low, high = (float(v) for v in law.mass(value["loss"], value["unseen"]))
        lived = value["gap"] / 3600.0 < (at_ms - life.made_ms) / HOUR_MS - 1.0
        ways = life.ways_at(at_ms)
        return RindNow(
            wheel=name,
            at_ms=at_ms,
            mass_kg=mass if lived else None,
            mass_low_kg=low if lived else None,
            mass_high_kg=high if lived else None,
            water_activity=value["activity"] if lived else None,
            surface_temperature_c=value["surface"] if lived else None,
            loss_kg_per_day=value["rate"] * KG_S_TO_KG_DAY * law.factor if lived else None,
            cracking_index=value["cracking"] if lived else None,
            blue_index=value["blue"] if lived else None,
            mite_index=value["mites"] if lived else None,
            free_water_hours=value["wet_hours"] if lived else None,
            way_in=next((way for way in WAYS_IN if way in ways), ""),
            unknown_hours=value["gap"] / 3600.0,
        )

    def _law(self, name: str, loss_kg: float, at_ms: int) -> WeightLaw:
        track, life = self._past.tracks.get(name, []), self._lives[name]
        known = self._laws.get(name)
        if known is None or (known[0] != len(track) and weighed_after_making(life)):
            style = self._site.style_by_id[life.style]
            now = (at_ms // HOUR_MS, loss_kg, 0.0)
            law = law_of(style, life, self._learnt_of(life), [*track, now])
            known = self._laws[name] = len(track), law
        return known[1]


def law_of(style: Style, life: Life, learnt: Learnt, track: Sequence[tuple[int, float, float]]) -> WeightLaw:
    """A wheel's weight law from the course of its twin's loss (hour, loss [kg], hidden loss [kg]) and its weighings."""
    first = life.first_mass_kg or style.geometry.mass_kg
    if life.own_first_mass:
        sigma = OWN_FIRST_SIGMA_KG
    else:
        sigma = first * (MEAN_FIRST_SHARE if life.first_mass_kg else STYLE_FIRST_SHARE)
    course = np.array(track, dtype=float).reshape(-1, 3)
    weighed = [
        (
            float(np.interp(at / HOUR_MS, course[:, 0], course[:, 1] + course[:, 2])),
            mass,
            stated or SCALE_SIGMA_KG,
        )
        for at, mass, stated in weighed_after_making(life)
        if len(course) and at / HOUR_MS <= course[-1, 0] + 1
    ]
    return weight_law(first, sigma, learnt.spread, weighed)
