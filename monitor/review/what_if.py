"""What if: weight, rind and the day it is ready, of wheels whose climate goes on, follows their style, or is set.

Each wheel's running twin is carried on from where it stands, once for each climate, in steps of a quarter of a day;
the loss is scaled by what weighings say of the wheel (`monitor.twins.weight`), with a 90 % interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor import air
from monitor.climate.dose_book import NUMBER, DoseBook, pieces_of
from monitor.climate.running_sums import MIDDLE_RH
from monitor.clock import DAY_MS, now, rfc3339, to_ms
from monitor.errors import LedgerError
from monitor.review.air_part import lived, stage_numbers
from monitor.review.books import dose_book_of
from monitor.review.doses_part import equivalent_age
from monitor.review.rind_part import Rind, rind_of
from monitor.rind.ripening import rate_factor
from monitor.rind.twin import Twin
from monitor.rind.twin_state import TwinState
from monitor.site import Site, Style
from monitor.store.protocol import Store
from monitor.wheels import Ledger
from monitor.wheels.life import Life, life_of

Floats = NDArray[np.float64]

VERSION = 1
SIX_MONTHS = 182
LATELY_DAYS = 14
STEP_S = 21_600.0
POINT_DAYS = 7
MOST_DAYS, MOST_READY_DAYS = 1_100, 3_650
CAUTIONS = (
    "A climate held steady is a supposition: rooms swing, and people turn, brush and wrap.",
    "Ready means as ripe by warmth as the style's grading age; only an iron and a palate tell.",
)


@dataclass(frozen=True)
class _Wheel:
    """A wheel to carry on: its rind, its style, its age by the calendar and by warmth [d], and its air lately."""

    life: Life
    style: Style
    rind: Rind
    age_days: float
    ripe_days: tuple[float, float, float]
    lately: tuple[float, float] | None


@dataclass(frozen=True)
class Climate:
    """A supposed climate: ``name``, ``words``, and the air it sets, None where it goes by wheel."""

    name: str
    words: str
    held: tuple[float, float] | None = None

    def of(self, wheel: _Wheel, ages: Floats) -> tuple[Floats, Floats] | None:
        """Temperature [degC] and humidity [%] by day for a wheel at some ages [d]; None where not known."""
        held = wheel.lately if self.name == "as now" else self.held
        if self.name != "as the style wants":
            return None if held is None else (np.full(len(ages), held[0]), np.full(len(ages), held[1]))
        stages = [wheel.style.stages[i] for i in stage_numbers(wheel.style, ages)]
        return (
            np.array([s.reference_temperature_c for s in stages]),
            np.array([s.reference_rh_pct for s in stages]),
        )


def what_if(
    site: Site,
    store: Store,
    ledger: Ledger,
    names: Sequence[str],
    *,
    days: int = SIX_MONTHS,
    held: tuple[float, float] | None = None,
    at: datetime | None = None,
) -> dict[str, Any]:
    """The ``what-if`` document of some wheels (see ``monitor/docs/json.md``).

    Parameters
    ----------
    names : of wheels; days : how far to look ahead, 7 to 1,100 [d]
    held : a temperature [degC] and a humidity [%] to suppose besides
    at : the present

    Raises
    ------
    UnknownWheel : a name that is not there.
    LedgerError : no wheel, a span out of range, or a climate that no room can have.
    """
    moment = at or now()
    _check(names, days, held)
    wheels, left_out = _wheels(site, store, ledger, names, moment)
    climates = [
        Climate("as now", f"as the air was over the last {LATELY_DAYS} days"),
        Climate("as the style wants", "in the style's own reference climate"),
    ]
    if held is not None:
        climates.append(Climate("as set", f"at {held[0]:g} degC and {held[1]:g} %", held))
    scenarios = [_scenario(site, wheels, climate, days, to_ms(moment)) for climate in climates]
    return {
        "version": VERSION,
        "at": rfc3339(moment),
        "days": days,
        "wheels": [w.life.name for w in wheels],
        "left_out": left_out,
        "scenarios": [s for s in scenarios if s is not None],
        "cautions": list(CAUTIONS),
    }


def _check(names: Sequence[str], days: int, held: tuple[float, float] | None) -> None:
    if not names:
        raise LedgerError("no wheel: name wheels, a make or a room that has some")
    if not 7 <= days <= MOST_DAYS:
        raise LedgerError(f"{days} days: 7 to {MOST_DAYS} can be looked ahead")
    if held is not None and not (-5.0 <= held[0] <= 40.0 and 30.0 <= held[1] <= 100.0):
        raise LedgerError(f"{held[0]:g} degC and {held[1]:g} %: expected -5 to 40 degC and 30 to 100 %")


def _wheels(
    site: Site, store: Store, ledger: Ledger, names: Sequence[str], moment: datetime
) -> tuple[list[_Wheel], list[dict[str, str]]]:
    book, found, left_out = dose_book_of(site, store), list[_Wheel](), list[dict[str, str]]()
    for name, entries in ledger.histories(list(dict.fromkeys(names))).items():
        life = life_of(name, entries)
        style = site.style_by_id.get(life.style) if life is not None else None
        if life is None or style is None or life.gone_ms is not None:
            left_out.append({"wheel": name, "why": "it is gone, or of no style of the site file"})
            continue
        rind = rind_of(site, store, life)
        if rind is None or not rind.lived:
            why = "its rind twin is not known yet: the service makes it from the air records"
            left_out.append({"wheel": name, "why": why})
            continue
        found.append(_wheel(book, life, style, rind, to_ms(moment)))
    return found, left_out


def _wheel(book: DoseBook, life: Life, style: Style, rind: Rind, now_ms: int) -> _Wheel:
    age = (now_ms - life.made_ms) / DAY_MS
    ripe = equivalent_age(lived(book, style, life.made_ms, life.stays_until(now_ms)), age)
    by_warmth = (age, age, age) if ripe is None else (ripe["value"], ripe["low"], ripe["high"])
    return _Wheel(life, style, rind, age, by_warmth, _lately(book, life, style, now_ms))


def _lately(book: DoseBook, life: Life, style: Style, now_ms: int) -> tuple[float, float] | None:
    """Mean temperature and humidity of the last days where the wheel lies now; None where not known."""
    here = life.stays[-1] if life.stays else None
    if here is None or here[3] is not None:
        return None
    stay = (here[0], here[1], now_ms - LATELY_DAYS * DAY_MS, now_ms)
    sums = book.sums(pieces_of(style, life.made_ms, [stay])).sum(axis=0)
    known = sums[NUMBER["known"]]
    if known <= 0.0:
        return None
    temperature = sums[NUMBER["temperature"]] / sums[NUMBER["temperature_known"]]
    return float(temperature), float(sums[NUMBER["rh"]] / known + MIDDLE_RH)


def _scenario(
    site: Site, wheels: list[_Wheel], climate: Climate, days: int, now_ms: int
) -> dict[str, Any] | None:
    ahead = np.arange(days, dtype=float)
    climates = [climate.of(w, w.age_days + ahead) for w in wheels]
    pairs = [(w, c) for w, c in zip(wheels, climates, strict=True) if c is not None]
    if not pairs:
        return None
    chosen = [w for w, _ in pairs]
    celsius, rh = (np.stack([c[i] for _, c in pairs], axis=1) for i in (0, 1))
    course = _carry_on(site, chosen, celsius, rh)
    mass, low, high = (np.stack(part, axis=1) for part in zip(*(
        w.rind.law.mass(course.loss_kg[:, i], w.rind.kept.twin.state.unseen_kg[0]) for i, w in enumerate(chosen)
    ), strict=True))  # fmt: skip
    lost = np.array(
        [w.rind.law.lost_between(course.loss_kg[-1, i] - course.loss_kg[0, i]) for i, w in enumerate(chosen)]
    )
    steady = bool(np.ptp(celsius) < 1e-9 and np.ptp(rh) < 1e-9)
    ready = [_ready(w, climate, now_ms) for w in chosen]
    return {
        "name": climate.name,
        "words": climate.words,
        "temperature_c": round(float(celsius[0, 0]), 2) if steady else None,
        "rh_pct": round(float(rh[0, 0]), 1) if steady else None,
        "points": [
            {
                "at": rfc3339(now_ms + int(day) * DAY_MS),
                **_range(mass[k].sum(), low[k].sum(), high[k].sum(), "mass_kg", "low_kg", "high_kg"),
                "water_activity": round(float(course.activity[k].mean()), 4),
                "cracking_index": round(float(course.cracking[k].max()), 3),
            }
            for k, day in enumerate(course.days)
        ],
        "lost_kg": _range(*lost.sum(axis=0)),
        "lost_pct": _range(*(100.0 * lost.sum(axis=0) / mass[0].sum())),
        "wheels": [
            {
                "wheel": w.life.name,
                "mass_kg": _range(mass[-1, i], low[-1, i], high[-1, i]),
                "lost_kg": _range(*lost[i]),
                "water_activity": round(float(course.activity[-1, i]), 4),
                "cracking_index": round(float(course.cracking[:, i].max()), 3),
                "ready": ready[i],
            }
            for i, w in enumerate(chosen)
        ],
        "words_of_it": _words(
            climate, days, lost.sum(axis=0), 100.0 * lost.sum(axis=0) / mass[0].sum(), ready
        ),
    }


@dataclass(frozen=True)
class _Course:
    """What the twins go through: one row a point, one column a wheel; ``days`` from now on."""

    days: Floats
    loss_kg: Floats
    activity: Floats
    cracking: Floats


def _carry_on(site: Site, wheels: list[_Wheel], celsius: Floats, rh: Floats) -> _Course:
    parts = [w.rind.kept.twin for w in wheels]
    pressure = float(air.pressure_at_altitude(site.site.altitude_m))
    twin = Twin([t.parameters[0] for t in parts], pressure_pa=pressure, longest_step_s=STEP_S)
    twin.state = TwinState.joined([t.state for t in parts])
    speed = np.array([_speed(site, w.life) for w in wheels])
    rows = [(0.0, twin.loss_kg, twin.rind_water_activity, twin.cracking_index)]
    for day in range(len(celsius)):
        twin.advance(86_400.0, celsius[day], rh[day], speed)
        if (day + 1) % POINT_DAYS == 0 or day + 1 == len(celsius):
            rows.append((day + 1.0, twin.loss_kg, twin.rind_water_activity, twin.cracking_index))
    days, loss, activity, cracking = zip(*rows, strict=True)
    return _Course(np.array(days), np.array(loss), np.array(activity), np.array(cracking))


def _speed(site: Site, life: Life) -> float:
    room = site.room_by_id.get(life.stays[-1][0]) if life.stays else None
    return room.air_speed_at(life.stays[-1][1]) if room is not None else float("nan")


def _ready(wheel: _Wheel, climate: Climate, now_ms: int) -> dict[str, Any] | None:
    """When a wheel is as ripe by warmth as its style's grading age; None where the style names none."""
    wanted = wheel.style.grading_from_day
    ahead = np.arange(MOST_READY_DAYS, dtype=float)
    found = climate.of(wheel, wheel.age_days + ahead)
    if wanted is None or found is None:
        return None
    stages = [wheel.style.stages[i] for i in stage_numbers(wheel.style, wheel.age_days + ahead)]
    reference = np.array([s.reference_temperature_c for s in stages])
    ripened = np.concatenate([[0.0], np.cumsum(np.asarray(rate_factor(found[0], reference)))])

    def day(ripe: float) -> str | None:
        reached = np.flatnonzero(ripe + ripened >= wanted)
        return rfc3339(now_ms + int(reached[0]) * DAY_MS) if reached.size else None

    value, low, high = wheel.ripe_days
    return {"already": value >= wanted, "at": day(value), "early_at": day(high), "late_at": day(low)}


def _range(value: float, low: float, high: float, *names: str) -> dict[str, float]:
    keys = names or ("value", "low", "high")
    return {key: round(float(number), 3) for key, number in zip(keys, (value, low, high), strict=True)}


def _words(climate: Climate, days: int, kg: Floats, pct: Floats, ready: list[dict[str, Any] | None]) -> str:
    cost = (
        f"{climate.name[0].upper()}{climate.name[1:]}: {days} more days cost {kg[0]:.2f} kg ({kg[1]:.2f} to {kg[2]:.2f}), "
        f"{pct[0]:.1f} % of the weight now ({pct[1]:.1f} to {pct[2]:.1f})"
    )
    dates = sorted(r["at"][:10] for r in ready if r is not None and r["at"] and not r["already"])
    if dates:
        cost += f"; ready by warmth {dates[0]}" + (f" to {dates[-1]}" if dates[-1] != dates[0] else "")
    elif any(r is not None and r["already"] for r in ready):
        cost += "; already as ripe by warmth as the style's grading age"
    return f"{cost}."
