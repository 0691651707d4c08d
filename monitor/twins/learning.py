"""What the weighings of a style's wheels in a room teach about their rinds.

`monitor.rind.fitting` does the learning, on air by the day and on at most `MOST_WHEELS` wheels: those that teach most, see
`worth`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from monitor.clock import DAY_MS
from monitor.errors import PhysicsError
from monitor.rind.fitting import Case, RindFit, Weighing, fit_weighings
from monitor.rind.presets import RindParameters, wheel_parameters
from monitor.rind.replay import AirSeries
from monitor.site import Site, Style
from monitor.twins.hourly import HOUR_MS, HourlyAir
from monitor.twins.weight import NINETY_PCT, SCALE_SIGMA_KG
from monitor.wheels.life import Life

MOST_WHEELS, MOST_WEIGHINGS = 6, 12
ENOUGH_WEIGHINGS = 6
"""A wheel weighed so often has told what it can of its style; after that the later make teaches more."""
UNLEARNT_SPREAD = 0.5
"""Standard deviation of a wheel's loss over the style's where none was weighed: the prior's of the wrap [-]."""
BEGINS_AT_C = 12.0

Where = tuple[str, str]
"""Style and room."""


@dataclass(frozen=True)
class Learnt:
    """What is held of a style's rind in a room.

    Attributes
    ----------
    wrap_factor, diffusivity_factor : over the style's own values [-]
    spread : standard deviation of a wheel's loss over the twin's [-]
    weighings, wheels : how many stand behind it
    note : what to say with it
    """

    wrap_factor: float = 1.0
    diffusivity_factor: float = 1.0
    spread: float = UNLEARNT_SPREAD
    weighings: int = 0
    wheels: int = 0
    note: str = (
        "no wheel of this style was weighed in this room: the loss is what is held of the style beforehand"
    )

    def document(self) -> dict[str, Any]:
        return asdict(self)


def parameters_of(style: Style, life: Life, learnt: Learnt) -> RindParameters:
    """A wheel's rind: its style's, as high as its mass asks for, with what was learnt.

    Raises
    ------
    PhysicsError : no wheel can be so.
    """
    shape = style.geometry
    mass = life.first_mass_kg or shape.mass_kg
    plain = wheel_parameters(
        style.rind, shape.diameter_m, shape.height_m * mass / shape.mass_kg, mass, style.rind_parameters
    )
    return plain.with_values(
        {
            "wrap_resistance": plain.wrap_resistance * learnt.wrap_factor,
            "diffusivity_m2_s": plain.diffusivity_m2_s * learnt.diffusivity_factor,
        }
    )


def room_of(life: Life) -> str:
    """The room that a wheel has spent most of its time in, whose air sensors its weighings judge."""
    spent: dict[str, int] = defaultdict(int)
    last = max((s[2] for s in life.stays), default=0) + DAY_MS
    for room, _, start, end in life.stays:
        spent[room] += (last if end is None else end) - start
    return max(spent, key=lambda room: spent[room]) if spent else ""


def weighed_after_making(life: Life) -> list[tuple[int, float, float | None]]:
    """Its weighings but the first day's."""
    return [w for w in life.weighings if w[0] - life.made_ms >= DAY_MS]


def cases_of(site: Site, air: HourlyAir, lives: Iterable[Life]) -> dict[Where, list[Case]]:
    """The weighed wheels of each style and room with the air they lived in, those weighed most first."""
    grouped: dict[Where, list[Life]] = defaultdict(list)
    for life in lives:
        if weighed_after_making(life) and life.style in site.style_by_id:
            grouped[life.style, room_of(life)].append(life)
    found: dict[Where, list[Case]] = {}
    for where, group in grouped.items():
        cases = [_case(site, air, life) for life in chosen(group)]
        found[where] = [case for case in cases if case is not None]
    return {where: cases for where, cases in found.items() if cases}


def worth(weighings: int, made: float) -> tuple[int, float]:
    """By which wheels are chosen, the highest first: how often weighed, up to `ENOUGH_WEIGHINGS`, then how lately made.

    What styles, cloths and sensors are like changes with the months, so of two wheels weighed enough the later counts.
    """
    return min(weighings, ENOUGH_WEIGHINGS), made


def chosen(group: list[Life]) -> list[Life]:
    """The wheels of a style and room that are learnt from, those that teach most first."""
    by_name = sorted(group, key=lambda life: life.name)
    by_worth = sorted(
        by_name, key=lambda life: worth(len(weighed_after_making(life)), life.made_ms), reverse=True
    )
    return by_worth[:MOST_WHEELS]


def learn(cases: list[Case]) -> Learnt:
    """Learn from the weighed wheels of one style and room; takes seconds, so not for a tick.

    Raises
    ------
    PhysicsError : as `monitor.rind.fitting.fit_weighings`.
    """
    fit = fit_weighings(cases)
    return Learnt(
        wrap_factor=round(fit.wrap_factor[1], 4),
        diffusivity_factor=round(fit.diffusivity_factor[1], 4),
        spread=round(_spread(fit, cases[0]), 4),
        weighings=fit.weighings,
        wheels=len(cases),
        note=f"from {_many(fit.weighings, 'weighing')} of {_many(len(cases), 'wheel')} of the style in this room",
    )


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _spread(fit: RindFit, case: Case) -> float:
    """Relative standard deviation of the loss that the weighings leave, of a wheel of the style not itself weighed.

    How much wheels differ among themselves is in it, as the fit learnt it.
    """
    end = float(case.air.ends_s[-1])
    unweighed = Case(case.parameters, case.air)
    seen = fit.forecast(unweighed, [end])
    half = float(seen.loss_high_kg[0] - seen.loss_low_kg[0]) / 2.0
    return half / NINETY_PCT / max(1e-6, float(seen.loss_kg[0]))


def _case(site: Site, air: HourlyAir, life: Life) -> Case | None:
    weighings = weighed_after_making(life)
    if len(weighings) > MOST_WEIGHINGS:
        keep = np.unique(np.linspace(0, len(weighings) - 1, MOST_WEIGHINGS).round().astype(int))
        weighings = [weighings[i] for i in keep]
    try:
        parameters = parameters_of(site.style_by_id[life.style], life, Learnt())
        series = daily_air(air, life, weighings[-1][0])
        return Case(
            parameters,
            series,
            tuple(
                Weighing((at - life.made_ms) / 1000.0, mass, sigma or SCALE_SIGMA_KG)
                for at, mass, sigma in weighings
            ),
        )
    except PhysicsError:
        return None


def daily_air(air: HourlyAir, life: Life, until_ms: int) -> AirSeries:
    """The air of a wheel from its make on by the day, up to a time at least; a day is known where half of it is."""
    first, days = life.made_ms // HOUR_MS, max(1, -(-(until_ms - life.made_ms) // DAY_MS) + 1)
    hours = np.full((2, days * 24), np.nan)
    for room, place, start, end in life.stays_until((first + days * 24) * HOUR_MS):
        low, high = max(0, start // HOUR_MS - first), min(days * 24, -(-end // HOUR_MS) - first)
        if low < high:
            hours[:, low:high] = air.span((room, place), first + low, first + high)
    by_day = hours.reshape(2, days, 24)
    count = np.isfinite(by_day).sum(axis=2)
    mean = np.where(count >= 12, np.nansum(by_day, axis=2) / np.maximum(count, 1), np.nan)
    return AirSeries(np.full(days, 86_400.0), mean[0], mean[1])
