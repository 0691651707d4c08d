"""The truth of what each fault did: a room beside the same room without the fault, a sensor beside the true air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sensors_sim.places import relative_humidity
from sensors_sim.scenario import ROOM_FAULTS, Fault
from sensors_sim.sensors import Samples
from sensors_sim.world import Span, World

Array = NDArray[Any]


@dataclass(frozen=True)
class Effect:
    """What a fault did, on average and at most, to temperature [K] and relative humidity [%]."""

    fault: Fault
    mean_k: float
    most_k: float
    mean_pct: float
    most_pct: float
    messages: int = 0


class RoomEffects:
    """Runs the fault-free twin of a room for every room fault as its start comes near."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._due = [f for f in world.faults if f.kind in ROOM_FAULTS]
        self._twins: list[tuple[Fault, float, Array, list[Array]]] = []
        self.effects: list[Effect] = []

    def before(self, span_s: float) -> None:
        """To be called before the world moves on by ``span_s``."""
        now = self._world.time_s
        for fault in [f for f in self._due if f.start < now + span_s]:
            self._due.remove(fault)
            self._twins.append((fault, now, self._world.without(fault, fault.end), []))

    def after(self, span: Span) -> None:
        """To be called with what the world did."""
        for twin in list(self._twins):
            fault, start_s, without, actual = twin
            actual.append(span.traces[fault.target])
            if sum(len(part) for part in actual) >= len(without):
                self._twins.remove(twin)
                self.effects.append(self._compare(fault, start_s, without, np.concatenate(actual)))

    def finish(self) -> list[Effect]:
        """All effects, including those of faults that last to the end."""
        for fault, start_s, without, actual in self._twins:
            if actual:
                self.effects.append(self._compare(fault, start_s, without, np.concatenate(actual)))
        self._twins.clear()
        return sorted(self.effects, key=lambda e: (e.fault.start, e.fault.kind))

    def _compare(self, fault: Fault, start_s: float, without: Array, actual: Array) -> Effect:
        count = min(len(without), len(actual))
        times = start_s + self._world.scenario.step * np.arange(1, count + 1)
        during = times > fault.start
        change_k = (actual[:count, 0] - without[:count, 0])[during]
        humid = relative_humidity(actual[:count, 0], actual[:count, 1])
        change = (humid - relative_humidity(without[:count, 0], without[:count, 1]))[during]
        return Effect(fault, *_summary(change_k), *_summary(change))


def sensor_effect(fault: Fault, sent: Samples, span: Span, key: tuple[str, str], offset_s: float) -> Effect:
    """How far a sensor's words were from the true air at its place during a fault of its own.

    ``offset_s`` is the sensor's usual clock offset.
    """
    during = (sent.send_s >= fault.start) & (sent.send_s < fault.end)
    at = sent.stamp_s[during] - offset_s
    off_k = sent.temperature_c[during] - np.interp(at, span.times_s, span.temperature_c[key])
    off_pct = sent.humidity_pct[during] - np.interp(at, span.times_s, span.rh_pct[key])
    return Effect(fault, *_summary(off_k), *_summary(off_pct), int(during.sum()))


def _summary(change: Array) -> tuple[float, float]:
    """Mean, and the value furthest from zero."""
    if not len(change):
        return 0.0, 0.0
    return float(change.mean()), float(change[np.argmax(np.abs(change))])
