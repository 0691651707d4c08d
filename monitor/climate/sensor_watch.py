"""How each sensor itself is doing, from what its readings were judged to be: stuck, spiking, wet, off the others."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.records import Flag
from monitor.site import Sensor, Site

WINDOW_MS = 6 * 3_600_000
"""How far back faults of single readings count [ms]."""
BASELINE_DAYS, NEWEST_DAYS, DAYS_KEPT = 5, 3, 60
"""Drift is the median of the newest days against that of the first days since the sensor was placed or calibrated."""
LEAST_SLOTS_A_DAY = 36
KINDS = {"unchanged for": "stuck", "spike": "spiking", "changed faster": "spiking", "exactly 100 %": "at_end"}


@dataclass(frozen=True)
class SensorState:
    """What is known of a sensor at a moment.

    Attributes
    ----------
    stuck_since_ms : since when it repeats one value [ms]; None where it does not
    spiking_share : share of its readings of the last six hours that were spikes or jumps [-]
    at_end_share : share of its humidities of the last six hours clipped at exactly 100 % [-]
    drift : by quantity, how far it has moved against the others in its room since its first days [K], [% RH]; only
        where at least two others can show it
    battery_pct : charge [%]; None where it does not say
    """

    sensor: str
    stuck_since_ms: int | None = None
    spiking_share: float = 0.0
    at_end_share: float = 0.0
    drift: Mapping[str, float] = field(default_factory=dict)
    battery_pct: float | None = None


@dataclass
class _Slot:
    count: int
    kinds: dict[str, int]
    mean: float | None
    stuck: bool


class SensorWatch:
    """Follows the sensors of a site: `judged` with each piece of judged readings, then read `states`.

    A slot that is judged again takes the place of what was known of it, so late readings count once.
    """

    def __init__(self, site: Site) -> None:
        self._site = site
        self.reset()

    def reset(self) -> None:
        """Know nothing."""
        self._slots: dict[tuple[str, str], dict[int, _Slot]] = defaultdict(dict)
        self._days: dict[str, dict[int, float]] = defaultdict(dict)
        self._day_done = 0

    def judged(self, sensor: Sensor, quantity: str, frame: pd.DataFrame) -> None:
        """Take in judged readings of whole slots: index of UTC times, columns ``value``, ``flag``, ``reason``."""
        if frame.empty:
            return
        times = pd.DatetimeIndex(frame.index).as_unit("ms").asi8
        slots = times - times % TEN_MINUTES_MS
        reasons = frame["reason"].astype(object).to_numpy()
        values, flags = frame["value"].to_numpy(float), frame["flag"].to_numpy()
        edges = np.flatnonzero(np.diff(slots, prepend=slots[0] - 1))
        held = self._slots[sensor.id, quantity]
        # A rebuilding of the past is no news of the sensor; only what is near the newest slot is kept.
        newest = max(int(slots[-1]), max(held, default=0))
        for first, last in zip(edges, [*edges[1:], len(slots)], strict=True):
            slot = int(slots[first])
            if slot > newest - 2 * DAY_MS:
                held[slot] = _slot_of(reasons[first:last], values[first:last], flags[first:last])
        for old in [slot for slot in held if slot <= newest - 2 * DAY_MS]:
            del held[old]

    def states(self, now_ms: int, batteries: Mapping[str, float] | None = None) -> dict[str, SensorState]:
        """Every sensor that was heard from, by name."""
        self._close_days(now_ms)
        names = dict.fromkeys(sensor for sensor, _ in self._slots)
        return {name: self._state(name, now_ms, (batteries or {}).get(name)) for name in names}

    def _state(self, name: str, now_ms: int, battery: float | None) -> SensorState:
        recent = {
            quantity: [s for slot, s in sorted(held.items()) if now_ms - WINDOW_MS < slot <= now_ms]
            for (sensor, quantity), held in self._slots.items()
            if sensor == name
        }
        everything = [slot for slots in recent.values() for slot in slots]
        total = sum(slot.count for slot in everything)
        humidity = recent.get("humidity", [])
        stuck = [
            since
            for (sensor, _), held in self._slots.items()
            if sensor == name and (since := _stuck_since(held))
        ]
        return SensorState(
            sensor=name,
            stuck_since_ms=min(stuck, default=None),
            spiking_share=_share(sum(s.kinds.get("spiking", 0) for s in everything), total),
            at_end_share=_share(
                sum(s.kinds.get("at_end", 0) for s in humidity), sum(s.count for s in humidity)
            ),
            drift=self._drift(name),
            battery_pct=battery,
        )

    def _drift(self, name: str) -> dict[str, float]:
        found = {}
        for quantity in ("temperature", "humidity"):
            days = [value for _, value in sorted(self._days.get(f"{name}/{quantity}", {}).items())]
            if len(days) >= BASELINE_DAYS + NEWEST_DAYS:
                found[quantity] = float(np.median(days[-NEWEST_DAYS:]) - np.median(days[:BASELINE_DAYS]))
        return found

    def _close_days(self, now_ms: int) -> None:
        """Once a day is over: how far each sensor was off the median of the others in its room."""
        day = now_ms // DAY_MS - 1
        if day <= self._day_done:
            return
        self._day_done = day
        for room in self._site.rooms:
            for quantity in ("temperature", "humidity"):
                means = self._means(room.id, quantity, day)
                for name in means:
                    others = means.drop(columns=name)
                    if others.shape[1] < 2:
                        continue
                    off = (means[name] - others.median(axis=1, skipna=True)).dropna()
                    if len(off) >= LEAST_SLOTS_A_DAY:
                        self._note(
                            f"{name}/{quantity}", day, float(off.median()), self._since_day(name, quantity)
                        )

    def _means(self, room: str, quantity: str, day: int) -> pd.DataFrame:
        columns = {}
        for sensor in self._site.sensors:
            held = self._slots.get((sensor.id, quantity), {})
            if sensor.room == room and held:
                within = {t: s.mean for t, s in held.items() if t // DAY_MS == day and s.mean is not None}
                columns[sensor.id] = pd.Series(within, dtype=float)
        return pd.DataFrame(columns)

    def _note(self, key: str, day: int, off: float, since_day: int) -> None:
        days = self._days[key]
        days[day] = off
        for old in [d for d in days if d < since_day]:
            del days[old]
        # The first days stay as what is compared with; the middle is let go of.
        for old in sorted(days)[BASELINE_DAYS : max(BASELINE_DAYS, len(days) - DAYS_KEPT)]:
            del days[old]

    def _since_day(self, name: str, quantity: str) -> int:
        sensor = self._site.sensor_by_id[name]
        dates = [e.at.timestamp() * 1000 for e in sensor.calibrations if e.quantity == quantity]
        return int(max(dates, default=0) // DAY_MS)

    def state(self) -> dict[str, Any]:
        """What has to outlive a restart, fit for JSON: the days; slots come again from the readings."""
        days = {key: {str(day): off for day, off in known.items()} for key, known in self._days.items()}
        return {"version": 1, "day_done": self._day_done, "days": days}

    def restore(self, state: Any) -> None:
        """Go on from a `state`; one that cannot be read is as none."""
        self.reset()
        try:
            if state["version"] == 1:
                self._day_done = int(state["day_done"])
                for key, known in state["days"].items():
                    self._days[key] = {int(day): float(off) for day, off in known.items()}
        except (KeyError, TypeError, ValueError, AttributeError):
            self.reset()


def _slot_of(reasons: np.ndarray, values: np.ndarray, flags: np.ndarray) -> _Slot:
    kinds: dict[str, int] = defaultdict(int)
    for reason in reasons.tolist():
        for words, kind in KINDS.items():
            if words in reason:
                kinds[kind] += 1
    good = (flags <= Flag.NOT_EVALUATED) & np.isfinite(values)
    mean = float(values[good].mean()) if good.any() else None
    return _Slot(len(reasons), dict(kinds), mean, kinds.get("stuck", 0) == len(reasons))


def _stuck_since(held: Mapping[int, _Slot]) -> int | None:
    """The first of the unbroken run of stuck slots that reaches to the newest [ms], or None."""
    since = None
    for slot in sorted(held, reverse=True):
        if not held[slot].stuck:
            break
        since = slot
    return since


def _share(part: int, whole: int) -> float:
    return part / whole if whole else 0.0
